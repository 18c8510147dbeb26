"""``python -m knurlcam``, and the command that is installed."""

import signal


def main() -> None:
    """Import the command line and run it."""
    # Until the commands are imported there is nothing to say to an interrupt: the process just
    # ends. A handler that was set to ignore it stays.
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
        signal.signal(signal.SIGINT, signal.SIG_DFL)

    from knurlcam.cli.app import main as run_commands

    run_commands()


if __name__ == "__main__":
    main()
