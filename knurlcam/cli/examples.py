"""Two examples of each command, for its help; all of them run from a checkout."""

from __future__ import annotations

__all__ = ["EXAMPLES", "epilog_of"]

_KNOB = "samples/focus-knob.toml"
_KNOBS = "samples/family/setting-knob.toml samples/family/setting-knobs.csv -o knobs"

EXAMPLES: dict[str, tuple[str, ...]] = {
    "new": (
        "knurlcam new knob.toml",
        'knurlcam new knob.toml --set part.material=C45 --set knurl.callout="DIN 82 RAA 0.8"',
    ),
    "edit": ("knurlcam edit knob.toml", f"knurlcam edit {_KNOB} --no-open --port 8021"),
    "blank": (
        'knurlcam blank "DIN 82 RGE 1.0" --diameter 25',
        'knurlcam blank "21 TPI straight" --diameter "0.75 in" --units inch',
    ),
    "plan": (f"knurlcam plan {_KNOB}", f"knurlcam plan {_KNOB} --json"),
    "program": (
        f"knurlcam program {_KNOB} -o knob.nc",
        f"knurlcam program {_KNOB} --post uw-lathe --as section",
    ),
    "review": (
        f"knurlcam review {_KNOB} -o knob.html",
        f"knurlcam review {_KNOB} --program knob.nc -o edited.html",
    ),
    "imprint": (
        f"knurlcam imprint {_KNOB} -o knob.png",
        f"knurlcam imprint {_KNOB} --blank 24.80 --json",
    ),
    "measured": (
        f"knurlcam measured {_KNOB} --blank 24.69 --crests 24.92 --log measured.sqlite",
        "knurlcam measured --list --log measured.sqlite",
    ),
    "family": (
        f"knurlcam family {_KNOBS}",
        f"knurlcam family {_KNOBS} --resume --review",
    ),
    "verify": (
        f"knurlcam verify knob.nc --job {_KNOB}",
        f"knurlcam verify knob.nc --job {_KNOB} --json",
    ),
    "materials": ("knurlcam materials", 'knurlcam materials 1.4305 "aluminium 6082-T6"'),
    "rolls": ("knurlcam rolls", "knurlcam rolls BL BR --shop samples/shop/shop.toml"),
    "keys": ("knurlcam keys tool", "knurlcam keys process.feed process.passes"),
    "codes": ("knurlcam codes", "knurlcam codes does-not-track overfills"),
    "rules": ("knurlcam rules", "knurlcam rules too-deep dwell-long"),
    "dialects": ("knurlcam dialects", "knurlcam dialects --json"),
    "schema": ("knurlcam schema", "knurlcam schema --dialect"),
    "dialect new": (
        "knurlcam dialect new house --from iso6983 -o dialects",
        "knurlcam dialect new turner --from rs274-turning -o dialects",
    ),
    "dialect check": (
        "knurlcam dialect check dialects/house",
        "knurlcam dialect check postprocessors/uw-lathe",
    ),
}
"""By command, in an order in which each may use what one before it wrote."""


def epilog_of(command: str) -> str:
    """Return what stands below the help of a command, its lines kept as they are."""
    lines = EXAMPLES.get(command, ())
    return "\n".join(["\b", "Examples:", *(f"  {line}" for line in lines)]) if lines else ""
