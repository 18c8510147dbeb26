"""``knurlcam schema``."""

from __future__ import annotations

import json

from tests.support.commands import run


def test_schema_describes_every_key_with_a_unit() -> None:
    schema = json.loads(run("schema").stdout)
    sections = [schema, *schema["$defs"].values()]
    for section in sections:
        for name, prop in section["properties"].items():
            assert prop.get("description"), name
            assert prop.get("unit"), name
