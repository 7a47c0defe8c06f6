"""What the bus must show: the way of a program, its time, its halt loop; captures held against it; first diagnostics."""
