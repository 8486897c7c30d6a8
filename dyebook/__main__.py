"""Run the shell with `python -m dyebook`."""

from dyebook.shell.main import main

if __name__ == "__main__":
    main()
