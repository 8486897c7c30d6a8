"""Run the shell with `python -m dyebook`."""

from dyebook.cli import main

if __name__ == "__main__":
    main()
