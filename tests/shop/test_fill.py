"""Jobs filled up from what a shop keeps."""

from __future__ import annotations

import copy
from pathlib import Path

import pytest

from knurlcam import Job, JobFileError, make_plan
from knurlcam.shop.fill import find_shop, load_shop
from tests.support.jobs import base_job
from tests.support.shops import ROOT, SHOP, changed, job_file


@pytest.mark.usefixtures("shop")
def test_the_job_overrides_what_the_shop_says(tmp_path: Path) -> None:
    text = 'tool = {name = "twin 20", station = 9}\nmachine = {name = "lathe 2", safe_x = 150.0}\n'
    job = Job.load(job_file(tmp_path, text))
    assert job.tool.station == 9
    assert job.machine.safe_x == 150.0
    assert "tool.station" not in job.from_shop
    assert "tool.roll_spacing" in job.from_shop


@pytest.mark.usefixtures("shop")
def test_the_plan_says_what_the_shop_gave(tmp_path: Path) -> None:
    origins = {c.key: c.origin for c in make_plan(Job.load(job_file(tmp_path))).choices}
    assert origins["tool.rolls"] == "shop file"
    assert origins["process.feed"] == "recommended"


def test_a_job_that_says_everything_needs_no_shop(tmp_path: Path) -> None:
    sample = ROOT / "samples" / "focus-knob.toml"
    assert find_shop(sample) is None
    (tmp_path / "shop.toml").write_text(SHOP, encoding="utf-8")
    copy = tmp_path / "focus.toml"
    copy.write_text(sample.read_text(encoding="utf-8"), encoding="utf-8")
    job = Job.load(copy)
    assert job.tool == Job.load(sample).tool


@pytest.mark.usefixtures("shop")
def test_what_is_wrong_with_the_job_itself_is_not_blamed_on_the_tools(tmp_path: Path) -> None:
    file = job_file(tmp_path)
    file.write_text(file.read_text("utf-8").replace("25.0", "-25.0"), encoding="utf-8")
    with pytest.raises(JobFileError) as caught:
        Job.load(file)
    assert caught.value.problems[0].key == "part.knurled_diameter"


@pytest.mark.usefixtures("shop")
def test_a_job_in_inch_reads_a_shop_in_mm_right(tmp_path: Path) -> None:
    file = job_file(tmp_path)
    text = file.read_text("utf-8").replace("25.0", "1.0").replace("70.0", "3.0")
    text = 'units = "inch"\nmachine = {name = "lathe 2", safe_x = 5.0}\n' + text
    file.write_text(text.replace("20.0", "0.75"), encoding="utf-8")
    job = Job.load(file)
    assert (job.tool.roll_diameter, job.tool.roll_spacing) == (20.0, 21.0)
    assert (job.machine.safe_x, job.machine.safe_z) == (127.0, 50.0)


@pytest.mark.usefixtures("shop")
@pytest.mark.parametrize(
    ("own", "key"),
    [
        ('station = "five"', "tool.station"),
        ("statoin = 7", "tool.statoin"),
        ('roll_diameter = "20 kg"', "tool.roll_diameter"),
        ("face_width = nan", "tool.face_width"),
        ("rolls = [5]", "tool.rolls.0"),
        ('rolls = ["BX", "BR"]', "tool.rolls"),
        ('rolls = ["BL", "BL"]\nroll_diameter = 20\nface_width = 10', "tool.rolls"),
    ],
)
def test_a_wrong_override_is_the_jobs_own_fault(own: str, key: str, tmp_path: Path) -> None:
    text = f'tool.name = "twin 20"\ntool.{own}\n'.replace("\nroll", "\ntool.roll")
    with pytest.raises(JobFileError) as caught:
        Job.load(job_file(tmp_path, text.replace("\nface", "\ntool.face")))
    (problem,) = caught.value.problems
    assert (problem.where, problem.key) == (str(tmp_path / "job.toml"), key)


@pytest.mark.usefixtures("shop")
def test_every_fault_of_the_job_is_reported_in_one_go(tmp_path: Path) -> None:
    file = job_file(tmp_path, 'tool = {name = "twin 20", statoin = 7}\n')
    file.write_text(file.read_text("utf-8").replace("25.0", "-25.0"), encoding="utf-8")
    with pytest.raises(JobFileError) as caught:
        Job.load(file)
    assert {p.key for p in caught.value.problems} == {"part.knurled_diameter", "tool.statoin"}


def test_a_job_without_a_machine_must_name_one_of_several(shop: Path, tmp_path: Path) -> None:
    changed(shop, "[process]", '[machines."lathe 3"]\nsafe_x = 90.0\nsafe_z = 20.0\n[process]')
    with pytest.raises(JobFileError, match="expected one of 'lathe 2', 'lathe 3'") as caught:
        Job.load(job_file(tmp_path))
    assert caught.value.problems[0].key == "machine"
    assert Job.load(job_file(tmp_path, 'machine = "lathe 3"\n')).machine.safe_x == 90.0


@pytest.mark.usefixtures("shop")
def test_a_machine_that_the_job_writes_out_is_not_filled_up(tmp_path: Path) -> None:
    job = Job.load(job_file(tmp_path, "machine = {safe_x = 90.0, safe_z = 20.0}\n"))
    assert (job.machine.post, job.machine.max_spindle_speed) == ("iso6983", 2000.0)
    assert not any(key.startswith("machine") for key in job.from_shop)


@pytest.mark.usefixtures("shop")
def test_the_jobs_process_values_win_over_the_shops(tmp_path: Path) -> None:
    job = Job.load(job_file(tmp_path, "process = {coolant = false, passes = 5}\n"))
    assert (job.process.coolant, job.process.passes) == (False, 5)
    assert not any(key.startswith("process") for key in job.from_shop)


def test_a_usual_trial_stop_waits_for_a_job_with_a_trial_strip(shop: Path, tmp_path: Path) -> None:
    changed(shop, "coolant = true", 'trial_stop = "optional"')
    assert Job.load(job_file(tmp_path)).process.trial_stop == "program"
    job = Job.load(job_file(tmp_path, "process = {trial_strip = true}\n"))
    assert job.process.trial_stop == "optional"


def test_a_usual_trial_length_waits_for_a_job_with_a_trial_strip(
    shop: Path, tmp_path: Path
) -> None:
    changed(shop, "coolant = true", "trial_length = 8.0")
    assert Job.load(job_file(tmp_path)).process.trial_length is None
    job = Job.load(job_file(tmp_path, "process = {trial_strip = true}\n"))
    assert job.process.trial_length == 8.0


def test_a_shop_without_tools_leaves_the_tool_to_the_job(shop: Path, tmp_path: Path) -> None:
    shop.write_text("[process]\ncoolant = false\n", encoding="utf-8")
    with pytest.raises(JobFileError, match="tool: is missing") as caught:
        Job.load(job_file(tmp_path))
    assert [p.key for p in caught.value.problems] == ["tool", "machine"]
    with pytest.raises(JobFileError, match="the shop file has none"):
        Job.load(job_file(tmp_path, 'tool = "twin 20"\n'))


@pytest.mark.parametrize(
    ("section", "key"),
    [("tool = 5", "tool"), ("process = 5", "process"), ("machine = 5", "machine")],
)
@pytest.mark.usefixtures("shop")
def test_a_section_that_is_no_table_is_refused_as_without_a_shop(
    section: str, key: str, tmp_path: Path
) -> None:
    with pytest.raises(JobFileError, match="expected a table of keys") as caught:
        Job.load(job_file(tmp_path, f"{section}\n"))
    assert caught.value.problems[0].key == key


def test_filling_leaves_the_given_keys_as_they_are(shop: Path) -> None:
    data = base_job({"tool": "twin 20", "machine": "lathe 2", "process": {"passes": 3}})
    before = copy.deepcopy(data)
    filled, given = load_shop(shop).fill(data)
    assert data == before
    assert filled["machine"]["safe_x"] == "120.0 mm"
    assert filled["part"] == data["part"]
    for key in given:
        section, name = key.split(".")
        assert name in filled[section]
    assert "process.passes" not in given


def test_a_filled_job_is_the_job_that_says_it_all_itself(shop: Path) -> None:
    filled, given = load_shop(shop).fill(base_job({"tool": "twin 20", "machine": "lathe 2"}))
    written_out = Job.model_validate(filled)
    by_name = Job.build(base_job({"tool": "twin 20", "machine": "lathe 2"}), shop=load_shop(shop))
    assert by_name.from_shop == given
    assert by_name.identity == written_out.identity


def test_a_shop_fills_nothing_into_a_valid_section(shop: Path, tmp_path: Path) -> None:
    kept = load_shop(shop)
    from_shop = Job.load(job_file(tmp_path), kept)
    own = Job.build(base_job())
    sections = {s: getattr(own, s) for s in ("part", "knurl", "holding", "tool", "process")}
    job = Job.build({**sections, "machine": own.machine}, shop=kept)
    assert (job, job.from_shop) == (own, frozenset())
    filled = Job.build({**sections, "tool": from_shop.tool}, shop=kept)
    assert filled.tool is from_shop.tool
    assert filled.process is own.process
    assert filled.machine == from_shop.machine
    assert {key.split(".")[0] for key in filled.from_shop} == {"machine"}
