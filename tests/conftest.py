"""Profiles of the property tests: the same examples every time, or new ones on request."""

from __future__ import annotations

import os

from hypothesis import settings

settings.register_profile("steady", derandomize=True, deadline=None)
settings.register_profile("explore", deadline=None, max_examples=1000)
settings.load_profile(os.environ.get("KNURLCAM_HYPOTHESIS", "steady"))
