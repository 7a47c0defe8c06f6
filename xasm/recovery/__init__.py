"""Recovery: words of a program back into source that a person can go on with.

`recovering.recover` goes the whole way. `typed.py` and its neighbours read listings as people type them; `tracing.py` follows
control and tells code from the rest; `exact.py` knows what the assembler would make of an instruction's text; `regions.py`
tells what the rest may be; `naming.py` and `names_file.py` give names; `writing.py` writes the source.
"""
