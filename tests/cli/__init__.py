"""Cases of commands, as data; read by `tests.messages`, which says how they are written."""
