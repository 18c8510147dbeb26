"""A job filled up from what a shop keeps."""
