"""`python -m xasm`."""

from xasm.cli.main import main

if __name__ == "__main__":
    main()
