"""What the cautions name."""

from __future__ import annotations

from knurlcam.data.cautions import cautions, header_lines, proving


def test_cautions_name_every_danger_of_the_trade() -> None:
    said = " ".join(caution.text.casefold() for caution in cautions())
    dangers = (
        "eye",
        "clothing",
        "sleeves",
        "jewellery",
        "rag",
        "brush",
        "oil can",
        "centre",
        "sharp",
    )
    assert [danger for danger in dangers if danger not in said] == []


def test_header_lines_say_the_same_in_a_few_lines() -> None:
    lines = header_lines()
    said = " ".join(lines)
    dangers = ("EYE", "CLOTHES", "SLEEVES", "JEWELLERY", "RAG", "BRUSH", "HAND", "OIL CAN")
    assert [
        word for word in (*dangers, "CENTRE", "SHARP", "PROVE OUT", "RULES") if word not in said
    ] == []
    assert len(lines) <= 6, "a header that is too long is not read"


def test_proving_comes_before_the_first_cut_and_after_local_rules() -> None:
    said = " ".join(proving())
    assert "trained person proves out every program first, at reduced speed" in said
    assert "machine's manual come first" in said
