"""The setter's page: what a program does, from the motion read back from its text."""

from knurlcam.review.page import Review, review_page

__all__ = ["Review", "review_page"]
