"""What people read: the listing of a program, the card of a chip."""
