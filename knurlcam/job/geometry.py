"""The geometry of the knurl that a callout names."""

from __future__ import annotations

from dataclasses import replace

from knurlcam.data.caches import kept_until_cleared
from knurlcam.job.callout import Callout, format_callout
from knurlcam.mechanics.knurl import KnurlGeometry, knurl_geometry

__all__ = ["called_geometry"]


@kept_until_cleared(256)
def called_geometry(asked: Callout, *, swivelled: bool = False) -> KnurlGeometry:
    """Return the geometry of a knurl as it is called up.

    Args:
        asked: The callout.
        swivelled: Whether straight rolls are turned by the helix angle.
    """
    return knurl_geometry(
        asked.form,
        asked.system,
        asked.value,
        helix_deg=asked.helix_deg,
        profile_deg=asked.profile_deg,
        swivelled=swivelled,
        callout=format_callout(replace(asked, purpose=None)),
    )
