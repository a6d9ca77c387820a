"""`python -m queen_outcomes` is the same as the installed command."""

from queen_outcomes.commands.cli import main

if __name__ == "__main__":
    main()
