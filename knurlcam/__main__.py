"""``python -m knurlcam``."""

from knurlcam.cli.app import main

if __name__ == "__main__":
    main()
