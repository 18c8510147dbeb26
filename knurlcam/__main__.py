"""``python -m knurlcam``."""

from knurlcam.cli import main

if __name__ == "__main__":
    main()
