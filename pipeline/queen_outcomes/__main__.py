"""Where the command begins; `python -m queen_outcomes` is the same as the installed one."""

import os
import signal


def main() -> None:
    """Take Ctrl-C before anything is imported, which takes a while; then run the command."""
    signal.signal(signal.SIGINT, lambda *_: os._exit(130))
    from queen_outcomes.base.memory import collect_seldom

    collect_seldom()
    from queen_outcomes.commands import cli

    cli.main()


if __name__ == "__main__":
    main()
