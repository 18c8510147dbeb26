"""Pages of one file: nothing on them comes from elsewhere, and nothing else may run."""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined

__all__ = ["content_policy", "own_style", "own_text", "page_environment"]


@cache
def page_environment(package: str) -> Environment:
    """Return the templates of a package; every word that they are given is escaped."""
    environment = Environment(
        loader=PackageLoader(package, ""),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.policies["json.dumps_kwargs"] = {"separators": (",", ":")}
    return environment


@cache
def own_style(file: Path, *, pictures: bool = False) -> str:
    """Return a page's style, with what pages have in common before it.

    Args:
        file: What is the page's own.
        pictures: Whether it shows pictures of work and rolls.
    """
    here = Path(__file__)
    shared = own_text(here.with_name("picture.css")) if pictures else ""
    return own_text(here.with_suffix(".css")) + shared + own_text(file)


@cache
def own_text(file: Path) -> str:
    """Return a page's script or style, without the lines that say nothing to a browser."""
    text = file.read_text(encoding="utf-8")
    return "\n".join(line.strip() for line in text.splitlines() if line.strip()) + "\n"


def content_policy(styles: str, script: str, *, images: bool = False) -> str:
    """Return the content security policy that lets one style and one script be, by hash.

    Args:
        styles: The style.
        script: The script.
        images: Whether pictures may stand in the page itself; none may be fetched.
    """
    return (
        "default-src 'none'; base-uri 'none'; form-action 'none'; "
        f"style-src '{_hash(styles)}'; script-src '{_hash(script)}'"
        + ("; img-src data:" if images else "")
    )


def _hash(text: str) -> str:
    digest = hashlib.sha256(text.encode()).digest()
    return f"sha256-{base64.b64encode(digest).decode()}"
