"""What is in an SVG, whether it stands alone or in a page."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import numpy as np
from numpy.typing import NDArray

SVG = "{http://www.w3.org/2000/svg}"


def corners(element: ET.Element) -> NDArray[np.float64]:
    return np.array([[float(v) for v in p.split(",")] for p in element.get("points").split()])


def bars(svg: ET.Element) -> list[tuple[float, str]]:
    """Return the length [drawing units] and the text of each scale bar."""
    space = SVG if svg.tag.startswith(SVG) else ""
    lines = svg.findall(f"{space}polyline[@class='scale-bar']")
    texts = svg.findall(f"{space}text[@class='scale-text']")
    return [(np.ptp(corners(b)[:, 0]), str(t.text)) for b, t in zip(lines, texts, strict=True)]


def words_of(svg: ET.Element) -> list[str]:
    return [str(text.text) for text in each(svg, "text")]


def each(svg: ET.Element, name: str) -> list[ET.Element]:
    """Return elements of an SVG, whether it stands alone or in a page."""
    return [e for e in svg.iter() if e.tag.removeprefix(SVG) == name]


def boxes_of_texts(svg: ET.Element) -> list[tuple[float, float, float, float, str]]:
    """Return left, top, right, foot of each text, letters taken as wide as most are."""
    found = []
    for text in each(svg, "text"):
        size, x, y = (float(text.get(k)) for k in ("font-size", "x", "y"))
        wide = 0.55 * size * len(text.text)
        left = x - wide * {"start": 0.0, "middle": 0.5, "end": 1.0}[text.get("text-anchor")]
        found.append((left, y - 0.75 * size, left + wide, y + 0.2 * size, text.text))
    return found


def refuse_overlaps(svg: ET.Element) -> None:
    """Fail if a text overlaps another or leaves the drawing."""
    boxes = boxes_of_texts(svg)
    width, height = (float(v) for v in svg.get("viewBox").split()[2:])
    for i, (left, top, right, foot, text) in enumerate(boxes):
        assert left >= 0, text
        assert right <= width, text
        assert 0 <= top < foot <= height, text
        for other in boxes[i + 1 :]:
            apart = right < other[0] or other[2] < left or foot < other[1] or other[3] < top
            assert apart, (text, other[4])
