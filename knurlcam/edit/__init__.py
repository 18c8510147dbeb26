"""The page on which a job is filled in: ``knurlcam edit``."""
