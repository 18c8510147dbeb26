"""The setter's page as one file: nothing from outside, and no word that is not escaped."""

from __future__ import annotations

import base64
import hashlib
import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from knurlcam import CannotBeDoneError, InputError, Job, lay_out, make_plan, read_program
from knurlcam import write_program as write
from knurlcam.data.cautions import cautions, proving
from knurlcam.review import review_page
from knurlcam.review.tables.findings import findings_and_notes
from tests.support.breaking import JOBS, POSTS, Text, good_job, good_plan, good_program
from tests.support.jobs import base_job
from tests.support.pages import (
    FEW,
    OWN,
    ROOT,
    SAMPLES,
    Page,
    page_for,
)

pytestmark = pytest.mark.usefixtures("rough_imprint")

EACH = [
    pytest.param(p, id=p.stem, marks=() if p.stem in FEW else pytest.mark.long) for p in SAMPLES
]


@pytest.mark.parametrize("path", EACH)
def test_a_sample_has_a_page_that_needs_nothing_from_outside(path: Path) -> None:
    made = page_for(Job.load(path))
    assert made.verification.ok
    page = Page(made.html)
    for tag, attributes in page.elements:
        for name, value in attributes.items():
            if (tag, name) == ("img", "src"):
                assert re.match(r"data:image/(png|jpeg);base64,[A-Za-z0-9+/]+=*$", value or "")
                continue
            assert name not in ("src", "href", "srcset", "style", "action", "poster"), (tag, name)
            assert not name.startswith("on"), (tag, name)
            assert "://" not in (value or ""), (tag, name, value)
    assert not re.search(r"url\(|@import|fetch\(|XMLHttp|import\(|WebSocket|eval\(", made.html)
    assert "Do not run" not in made.html
    assert Job.load(path).part.name in page.text("h1")


@pytest.mark.parametrize("path", EACH)
def test_a_samples_page_shows_cautions_program_and_what_the_plan_comes_to(path: Path) -> None:
    job = Job.load(path)
    plan, made = make_plan(job), page_for(Job.load(path))
    page = Page(made.html)
    told = " ".join("".join(texts) for texts in page.texts.values())
    for text in [c.text for c in cautions()] + list(proving()):
        assert text in told
    for line in made.text.splitlines():
        assert line.strip() in told
    assert str(plan.teeth) in told
    assert job.identity in told


def test_the_policy_allows_this_style_and_this_script_and_nothing_else() -> None:
    html = page_for(good_job("diamond")).html
    page = Page(html)
    policy = next(str(a["content"]) for t, a in page.elements if a.get("http-equiv") is not None)
    assert policy.startswith("default-src 'none'; base-uri 'none'; form-action 'none'; ")
    assert "unsafe" not in policy
    assert policy.endswith("; img-src data:"), "pictures stand in the page, and none is fetched"

    def sha(text: str) -> str:
        return base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()

    style = html[html.index("<style>") + 7 : html.index("</style>")]
    script = html[html.rindex("<script>") + 8 : html.rindex("</script>")]
    assert f"style-src 'sha256-{sha(style)}'" in policy
    assert f"script-src 'sha256-{sha(script)}'" in policy


NASTY = "<script>alert(1)</script>{{7*7}}\"'&</title>"


def test_names_and_comments_are_text_and_nothing_else() -> None:
    job = Job.model_validate(base_job({"part.name": NASTY}))
    text = write(lay_out(make_plan(job)), "iso6983")
    text = text.replace("(RETRACT)", "(</script><img src=x onerror=alert(2)>)")
    html = review_page(job, text, name="</td><b>.nc").html
    page = Page(html)
    assert page.text("h1") == NASTY
    assert "49" not in page.text("h1")
    assert "b" not in {t for t, _ in page.elements}
    assert all(a["src"] != "x" for t, a in page.elements if t == "img")
    assert sum(t == "script" for t, _ in page.elements) == 2


def test_a_metals_own_name_is_text_where_its_modulus_is_missing() -> None:
    job = Job.model_validate(base_job({"part.material": {**OWN, "name": "<b>{{7*7}}</b>"}}))
    html = page_for(job).html
    assert "Young&#39;s modulus of &lt;b&gt;{{7*7}}&lt;/b&gt; is not known" in html
    assert "b" not in {t for t, _ in Page(html).elements}


def test_a_program_from_elsewhere_is_named_and_judged() -> None:
    text = good_program("diamond", "rs274").replace("M08", "M09")
    made = review_page(good_job("diamond"), text, "rs274", name="night shift.nc")
    assert not made.verification.ok
    assert "night shift.nc" in made.html
    assert made.text == text


@pytest.mark.few(1)
@pytest.mark.parametrize("form", ["subprogram", "blocks"])
def test_what_is_to_be_called_or_pasted_has_its_page_too(form: str) -> None:
    made = review_page(good_job("diamond"), form=form)  # type: ignore[arg-type]
    assert made.verification.ok
    assert made.verification.form == form


def test_a_block_with_a_slash_is_shown_carried_out_and_the_page_says_so() -> None:
    text = Text.of("diamond", "iso6983")
    text.find("M08").text = "/" + text.find("M08").text
    made = review_page(good_job("diamond"), str(text), "iso6983")
    assert "Blocks with a slash (block delete) are shown carried out." in made.html


def test_many_of_a_kind_hide_nothing_else() -> None:
    """The crash comes first, however much is wrong with the text before it."""
    text = Text.of("diamond", "iso6983")
    for _ in range(90):
        text.before(text.all("G00")[0], "Q1")
    text.put(text.all("G00 X")[1], "X", 10.0)
    made = review_page(good_job("diamond"), str(text), "iso6983")
    found = findings_and_notes(
        good_plan("diamond"), made.verification, read_program(str(text), "iso6983")
    )
    assert found[0].code not in ("unknown-word", "numbering")
    assert {r.code for r in found} >= {f.code for f in made.verification.findings}
    assert "(and 87 more of this kind)" in made.html
    assert found[-1].severity == "note"


def test_a_job_that_cannot_be_done_has_no_page() -> None:
    job = Job.model_validate(base_job({"process.spindle_speed": "400 rpm"}))
    with pytest.raises(CannotBeDoneError):
        page_for(job)


def test_an_unknown_dialect_is_named() -> None:
    with pytest.raises(InputError, match="rs247"):
        review_page(good_job("diamond"), post="rs247")


def edit_and_look(data: st.DataObject) -> None:
    """Spoil a program's lines, and hold that its page still lists each of them."""
    name = data.draw(st.sampled_from(sorted(JOBS)))
    post = data.draw(st.sampled_from(POSTS))
    lines = good_program(name, post).splitlines()
    junk = st.one_of(
        st.sampled_from(["G00 Z-30.", "G01 X-90. F9.", "G04 X1.", "M05", "G91", "S0", "G00", "%"]),
        st.text(st.characters(codec="utf-8", exclude_categories=["Cs"]), max_size=30),
    )
    for _ in range(data.draw(st.integers(1, 5))):
        place = data.draw(st.integers(0, len(lines) - 1))
        if data.draw(st.booleans()):
            lines[place] = data.draw(junk)
        else:
            lines.insert(place, data.draw(junk))
    text = "\n".join(lines)
    made = review_page(good_job(name), text, post)
    motion = read_program(text, post)
    assert sum(a.get("role") == "option" for _, a in Page(made.html).elements) == len(motion.blocks)


@given(data=st.data())
@settings(max_examples=4)  # each makes a height map
def test_no_edit_of_a_program_breaks_the_page(data: st.DataObject) -> None:
    edit_and_look(data)


@pytest.mark.long
@given(data=st.data())
@settings(max_examples=60)
def test_no_edit_of_many_breaks_the_page(data: st.DataObject) -> None:
    edit_and_look(data)


def test_the_page_shows_what_a_press_fit_comes_to() -> None:
    job = Job.load(ROOT / "samples" / "dowel-pin.toml")
    plan = make_plan(job)
    assert plan.press_fit is not None
    html = page_for(job).html
    fit = html[html.index("Press fit (estimate)") :]
    force = plan.press_fit.joining_force_n
    assert f"{round(force, -2):.0f} N" in fit
    assert "friction alone" in fit
    upper, lower = plan.press_fit.knurled_limits_mm
    low, high = (plan.knurled_diameter_mm + limit for limit in (lower, upper))
    assert f"{low:.3f} to {high:.3f} mm" in html
    assert "for the press fit" in html
    assert "Press fit (estimate)" not in page_for(good_job("diamond")).html
