"""Good inputs to begin with, and the words that they are made of."""

from __future__ import annotations

import ast
import csv
import io
import json
import tempfile
import tomllib
import zipfile
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any, Literal, get_args, get_origin

from knurlcam.data.knurls import forms
from knurlcam.family.keys import known_columns
from knurlcam.job.model import Job
from tests.support.breaking import JOBS, POSTS, SPECIAL, good_program, job_dict
from tests.support.whole import whole

ROOT = Path(__file__).resolve().parents[3]
SAMPLES = ROOT / "samples"
FAMILY_BASE = SAMPLES / "family" / "setting-knob.toml"


def _words(text: str) -> tuple[bytes, ...]:
    return tuple(word.encode() for word in text.split("|"))


def _texts_in(module: str, most: int) -> list[bytes]:
    """Return the texts that a test module holds: spellings, right and wrong."""
    tree = ast.parse((ROOT / "tests" / module).read_text(encoding="utf-8"))
    found = {
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    }
    return sorted(t.encode("utf-8", "surrogatepass") for t in found if 0 < len(t) <= most)


# -- callouts and quantities -------------------------------------------------------

CALLOUT_WORDS = _words(
    "RAA|RBL|RBR|RGE|RGV|RKE|RKV|DIN 82|ISO 13444|ANSI|ASME B94.6|B94.6-1984 (R2019)|straight|"
    "diagonal|left-hand|right-hand|diamond|cross|raised|indented|male|female|coarse|medium|fine|"
    "mm|in|inch|TPI|DP|teeth per inch|diametral pitch|°|deg|pitch|helix|profile angle|P|t|grip|"
    "press fit|appearance|knurl|form|with|of|and|x|/|:|=|-|,|08|10|0.8|1,2|96|21|30°|90°|R.G.E."
)

QUANTITY_WORDS = _words(
    "mm|µm|cm|m|km|in|inch|inches|thou|ft|foot|yard|mile|rpm|rev/min|1/min|r/min|mm/rev|in/rev|"
    "ipr|m/min|mm/min|m/s|ft/min|sfm|deg|°|rad|grad|N|kN|MN|lbf|kgf|N*m|Nm|N*mm|lbf*in|MPa|N/mm2|"
    "GPa|psi|ksi|bar|Pa|kg/m3|g/cm3|lb/in^3|s|sec|min|ms|h|hour|day| per |^2|^3|²|³|*|/|'|\"|%|"
    "degC|kelvin|dB|count|turn|cycle|delta_degC|mol|eV|c|pi|e|k|M|u|da|1 1/2"
)


def callouts() -> Sequence[bytes]:
    """Return callouts as drawings write them, and some that are wrong."""
    return _texts_in("job/test_callout.py", 120)


def quantities() -> Sequence[bytes]:
    """Return texts with and without units, right and wrong."""
    return _texts_in("units/test_quantities.py", 45)


# -- jobs and shops ------------------------------------------------------------------


def jobs() -> Sequence[bytes]:
    """Return job files: the samples, and the jobs of the tests with each key on its own line."""
    files = [f.read_bytes() for f in sorted(SAMPLES.glob("*.toml"))]
    flat = [_flat(job_dict(changes)) for changes in {**JOBS, **SPECIAL}.values()]
    return files + flat + [_flat(tomllib.loads(f.decode())) for f in files]


def _flat(keys: Mapping[str, Any], above: str = "") -> bytes:
    """Return keys as TOML, a dotted key a line: any line may be set without its section."""
    lines = []
    for name, value in keys.items():
        if isinstance(value, Mapping) and value:
            lines.append(_flat(value, f"{above}{name}."))
        elif not isinstance(value, Mapping):
            lines.append(f"{above}{name} = {_toml(value)}".encode())
    return b"\n".join(lines)


def _toml(value: Any) -> str:
    if isinstance(value, (list, tuple)):
        return f"[{', '.join(map(_toml, value))}]"
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{k} = {_toml(v)}" for k, v in value.items()) + "}"
    return json.dumps(value)


@cache
def job_words() -> tuple[bytes, ...]:
    """Return a job's keys, and what its texts may say."""
    said = {w for line in job_lines() for w in line.partition(b" = ")[2:] if len(w) < 60}
    return tuple(sorted({k.encode() for k in known_columns()} | said))


@cache
def job_lines() -> tuple[bytes, ...]:
    """Return lines that set each key of a job to many a value."""
    lines = []
    for key, field in _fields(Job):
        lines += [f"{key} = {value}" for value in _values(key, str(field.annotation), field)]
    more = [
        'machine = "lathe 2"',
        "tool.name = 7",
        "process.compensate = true",
        *[f'part.material = "{m}"' for m in ("304", "C45", "CuZn39Pb3", "Ti-6Al-4V", "mild steel")],
        'part.material = {name = "X", yield_strength = "1 Pa", turning_speed = "1 mm/min"}',
        'part.material = {name = "X", yield_strength = "5 GPa", turning_speed = "2 km/min", '
        'youngs_modulus = "1 MPa", poisson_ratio = 0.49, elongation = 0}',
        'fit = {bore = 24.8, hub_diameter = 40, hub_material = "304", torque = "15 N*m"}',
        'fit = {bore = 25, hub_diameter = 2e4, hub_material = "GJL-250", axial_force = "1 kN"}',
        'part.steps = "25 x 30, 18 x 40"',
        "part.steps = [" + ", ".join(["{diameter = 25, length = 1.4}"] * 50) + "]",
        "part.steps = [" + ", ".join(["{diameter = 1, length = 400}"] * 50) + "]",
        *[f'knurl.callout = "{c}"' for c in ("DIN 82 RAA 0.1", "4 TPI diamond", "800 DP straight")],
        *[f'knurl.callout = "DIN 82 {form} 1.0"' for form in forms()],
        'process.accept = ["does-not-track", "above-reversal-limit", "traverse-too-short", '
        '"marks-outside", "needs-bevelled-rolls", "bends-the-work"]',
        *[f"tool.rolls = {r}" for r in ('["AA", "AA"]', '["BL", "BR"]', '["GV"]', '"AA"')],
        *[f'machine.post = "{p}"' for p in POSTS],
    ]
    return tuple(line.encode() for line in [*lines, *more])


def _fields(model: Any, above: str = "") -> list[tuple[str, Any]]:
    found = []
    for name, field in model.model_fields.items():
        kinds = [field.annotation, *get_args(field.annotation)]
        inside = [k for k in kinds if hasattr(k, "model_fields")]
        found += _fields(inside[0], f"{above}{name}.") if inside else [(f"{above}{name}", field)]
    return found


def _values(key: str, kind: str, field: Any) -> list[str]:
    choices = _choices(field.annotation)
    if choices:
        return [json.dumps(c) for c in choices if c is not None]
    if "bool" in kind:
        return ["true", "false"]
    if "int" in kind:
        return ["1", "2", "3", "9", "50", "99", "9999"]
    if "float" in kind:
        sizes = ["0.05", "0.5", "2", "9.5", "25", "24.63", "140", "1500", "20000"]
        return [*sizes, '"0.75 in"', '"1 thou"', '"20 m"', '"50 rpm"', '"0.5 N*m"', '"9 kN"']
    return ['"A"', '"' + "W" * 80 + '"', '"Ä ≥ {x} (y) %"', '"$(x) <b>"']


def _choices(annotation: Any) -> list[Any]:
    if get_origin(annotation) is Literal:
        return list(get_args(annotation))
    return [c for part in get_args(annotation) for c in _choices(part)]


@cache
def jobs_of_the_shop() -> tuple[str, ...]:
    """Return the jobs that a shop file is tried with."""
    files = [f for f in sorted((SAMPLES / "shop").glob("*.toml")) if f.name != "shop.toml"]
    texts = [f.read_text(encoding="utf-8") for f in files]
    bare = texts[0].split("[part]")[1]
    return (*texts, f"[part]{bare}", f'tool = "side 20"\n[part]{bare.replace("RGE", "RAA")}')


def shops() -> Sequence[bytes]:
    """Return shop files, each for every job of the shop."""
    text = (SAMPLES / "shop" / "shop.toml").read_bytes()
    flat = _flat(tomllib.loads(text.decode())).replace(b"tools.twin 20", b'tools."twin 20"')
    for name in (b"side 20", b"diamond 1.0", b"diamond 0.8", b"straight 0.8", b"lathe 2"):
        flat = flat.replace(b"." + name + b".", b'."' + name + b'".')
    return [bytes([k]) + t for t in (text, flat) for k in range(len(jobs_of_the_shop()))]


SHOP_LINES = tuple(
    line.encode()
    for line in (
        'rolls."diamond 1.0".tpi = 25.4',
        'rolls."diamond 1.0".diametral_pitch = 70',
        'rolls."diamond 1.0".helix = 30',
        'rolls."diamond 1.0".forms = "GV"',
        'rolls.x = {forms = ["AA", "AA"], pitch = 1, roll_diameter = 20, face_width = 10}',
        'tools."twin 20".mounted = "diamond 1.0"',
        'tools."twin 20".mounted = []',
        'tools."twin 20".face_width = 10',
        'tools."twin 20".force_limit = "1 N"',
        "process.passes = 50",
        "process.compensate = true",
        "machines.other = {safe_x = 120, safe_z = 50}",
        'machines."lathe 2".torque_limit = "1 N*m"',
    )
)


# -- a shop's own tables ------------------------------------------------------------------

OWN_TABLE_WORDS = _words(
    "name|aliases|yield_strength_mpa|tensile_strength_mpa|elongation_percent|youngs_modulus_gpa|"
    "poisson_ratio|density_kg_m3|brinell|turning_speed_m_min|source|sources|[[material]]|[[form]]|"
    "[[roll]]|[[roll_set]]|[rules]|true|[]|{}|''|[1, 2]|nan|inf|0|-1|1e308|1e-308|1979-05-27"
)


@cache
def shared_tables() -> tuple[Path, ...]:
    """Return the tables that come with the package."""
    return tuple(sorted((ROOT / "shared").glob("*.toml")))


def own_tables() -> Sequence[bytes]:
    """Return each table as a shop may have its own."""
    return [bytes([k]) + file.read_bytes() for k, file in enumerate(shared_tables())]


# -- programs -----------------------------------------------------------------------------

NC_WORDS = _words(
    "G00|G01|G02|G03|G04|G17|G18|G20|G21|G28|G40|G43|G49|G50|G53|G70|G71|G90|G91|G92|G94|G95|G96|"
    "G97|G98|G99|G0|G1|G4|M00|M01|M02|M03|M04|M05|M06|M08|M09|M30|M98|M99|X24.|X-1|X0|X1e9|Z0|Z-20|"
    "Z50.|U0|W0|U-2.|W.5|F0.05|F500|F0|S110|S0|S-1|T0505|T5|T0500|H5|P200|P0|N10|N0|N99999999|O1|"
    "%|%1234|:1|/|/2|(|)|;|( comment )|#1=5|[1+1]|I0|K1|R5|D1|L9|E1|Q|Y1|A90"
)

NC_LINES = tuple(
    b"\n".join([line] * many)
    for many in (1, 1, 20)
    for line in _words(
        "G04 X2.0|G04 P200|G01 Z-20. F0.5|G01 X24.4 F0.05|G00 X120.|G91|G90|M05|M03 S110|G28 U0|"
        "G92 X0|/G01 Z-5.|G01 U-1. W1.|N100 G01 Z-10.|T0505|M98 P1|G96 S100|G50 S2000|G70|G71|G20"
    )
)


def programs() -> Sequence[bytes]:
    """Return the good programs of each job in each dialect, in a part program too, and others."""
    from tests.long.fuzz.targets import PAIRS

    good = [bytes([k]) + good_program(*pair).encode() for k, pair in enumerate(PAIRS)]
    golden = sorted((ROOT / "tests" / "golden").glob("*.nc"))
    several = [bytes([k]) + whole(post, job=name).encode() for k, (name, post) in enumerate(PAIRS)]
    return [*good, *several, *(bytes([k]) + f.read_bytes() for k, f in enumerate(golden))]


# -- families -----------------------------------------------------------------------------

TABLE_LINES = tuple(
    line.encode()
    for line in (
        "part.name,part.knurled_diameter,knurl.length",
        'Knob 7,25.0,"DIN 82 RGE 1.0"',
        '"a quote that is not closed',
        "=1+1,@x,-2",
        '{"part.name": "A", "part": {"knurled_diameter": 25}}',
        '{"part.name": "B", "tool.rolls": ["BL", "BR"], "units": "inch"}',
        '{"part.name": 1e400, "process.passes": NaN}',
        '<row r="9999999"><c r="A9999999"><v>1</v></c></row>',
        '<row r="2"><c r="XFD2" t="s"><v>99999</v></c></row>',
        '<c r="A1" t="s"><v>-1</v></c>',
        '<c r="B2" t="e"><v>#REF!</v></c>',
        '<c r="B2" t="inlineStr"><is><t>A</t></is></c>',
        "<row>@200000*<c/>@</row>",
        "@400000*<row/>@",
        "@400000*<si><t>x</t></si>@",
        '<!DOCTYPE x [<!ENTITY a "@9000*a@"><!ENTITY b "@900*&a;@">]>',
        "<t>@9000000*a@</t>",
        '<numFmt numFmtId="164" formatCode="0&quot; mm&quot;"/>',
        '<mergeCell ref="A1:ZZZ99999999"/>',
        "==== xl/sharedStrings.xml ====",
    )
)


@cache
def table_words() -> tuple[bytes, ...]:
    """Return column names, and what workbooks are made of."""
    xml = _words(
        '<row>|</row>|<c>|</c>|<v>1</v>|<f>1+1</f>|t="s"|t="b"|t="d"|t="str"|s="99"|r="A1"|'
        'r="XFE1"|r="ZZZZ1"|r="0"|r="-1"|r="1e9"|hidden="1"|ht="nan"|ht="x"|<sheetData>|'
        "</sheetData>|&a;|&#0;|&#xD800;|<![CDATA[|]]>|<!--|-->|<?xml|encoding='utf-16'|xmlns=''|"
        'spans="1:16384"|<dimension ref="A1:XFD1048576"/>|==== xl/styles.xml ====|../../x|'
        "#REF!|2026-01-01|<v>1e400</v>|<v>nan</v>|<v></v>|<v>45000.5</v>"
    )
    return tuple(column.encode() for column in known_columns()) + xml


def tables() -> Sequence[bytes]:
    """Return tables of each kind: rows of one family."""
    text = (SAMPLES / "family" / "setting-knobs.csv").read_bytes()
    lines = b"\n".join(text.splitlines()[:6]) + b"\n"
    rows = list(csv.DictReader(io.StringIO(lines.decode())))
    kinds = [
        lines,
        lines.replace(b",", b"\t"),
        b"\n".join(json.dumps(row).encode() for row in rows),
        _workbook(rows),
    ]
    unpacked = _parts(kinds[3])
    plain = b"part.name,part.knurled_diameter\nA,25\nB,30\n"
    return [
        *(bytes([kind]) + table for kind, table in enumerate(kinds)),
        bytes([4]) + unpacked,
        bytes([4]) + small_workbook(),
        b"\0" + plain,
        b"\0" + plain.replace(b",", b";").replace(b"\n", b"\r\n"),
        b"\0" + plain.decode().encode("utf-16"),
    ]


def small_workbook() -> bytes:
    """Return the parts of a workbook of one row."""
    return _parts(_workbook([{"part.name": "A", "part.knurled_diameter": 25.0}]))


def _workbook(rows: Sequence[Mapping[str, Any]]) -> bytes:
    from openpyxl import Workbook

    book = Workbook()
    page = book.active
    assert page is not None
    page.append(list(rows[0]))
    for row in rows:
        page.append(list(row.values()))
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def _parts(book: bytes) -> bytes:
    """Return a workbook's parts as an input that stands for several files."""
    with zipfile.ZipFile(io.BytesIO(book)) as parts:
        return b"\n".join(
            b"==== " + name.encode() + b" ====\n" + parts.read(name).replace(b"><", b">\n<")
            for name in parts.namelist()
        )


# -- dialects -----------------------------------------------------------------------------

DIALECT_WORDS = _words(
    "{{ line }}|{% for block in body %}|{% endfor %}|{% if form %}|{% endif %}|{{ modes }}|"
    "{% for x in range(999999999) %}|{{ 'x' * 99999999 }}|{{ ''.__class__.__mro__ }}|"
    "{% include 'x' %}|{% extends 'x' %}|{% macro m() %}|{{ m() }}|{% set x = 1 %}|{{ body|"
    "join }}|{{ 9 ** 9 ** 9 }}|{{ '%99999999d' % 1 }}|{{ body|batch(1)|list }}|{{ self }}|"
    "{{ header[0]|center(99999999) }}|{{ form.format(form) }}|{{ undefined }}|{{ caller() }}|"
    "{% call m() %}|{% filter upper %}|{#|-%}|{% raw %}|{{ lipsum(n=9999) }}|{{ cycler('a') }}|"
    "{{ namespace() }}|{{ dict(a=1) }}|G00|G1|G999|M30|true|false|[]|['%']|\"mm\"|'diameter'|"
    "'radius'|'least increments'|'decimal point'|\"ms\"|'every block'|'tool call'|"
    "'none'|'U and W'|'per minute'|'reference point'|comment_open|\"(\"|\";\"|"
    "name = 'fuzzed'|[codes]|number_digits|line_length|highest_number|harmless|length_places_mm"
)


def dialects() -> Sequence[bytes]:
    """Return the dialects that come with the package, by another name."""
    found = []
    for name in POSTS:
        folder = ROOT / "postprocessors" / name
        traits = (folder / "dialect.toml").read_text(encoding="utf-8")
        template = (ROOT / "postprocessors" / "program.nc.j2").read_text(encoding="utf-8")
        traits = traits.replace(f'name = "{name}"', 'name = "fuzzed"')
        found.append(f"{traits}\n==== program.nc.j2 ====\n{template}".encode())
    return found


# -- a folder of an earlier run -------------------------------------------------------------

FOLDER_WORDS = _words(
    "==== index.json ====|==== index.csv ====|==== index.html ====|"
    "==== .unfinished/family.json ====|==== .unfinished/journal.jsonl ====|"
    "==== .unfinished/before.json ====|==== .unfinished/in-use ====|"
    "==== .unfinished/index/index.json ====|==== .unfinished/new/x.nc ====|"
    '==== UNFINISHED.txt ====|==== knob-25.nc ====|==== .unfinished/rows.csv ====|"row"|'
    '"left": [|"sha256": {|null|true|{}|[]|".."|"../x.nc"|"index.json"|"\\u0000"|"\\ud800"|'
    '"nul"|1e400|NaN|-1|"parts": ['
)


def folders() -> Sequence[bytes]:
    """Return folders as earlier runs leave them: finished, cut off and empty."""
    from knurlcam.family.folder import FamilyFolder
    from knurlcam.family.found import NOTICE
    from tests.long.fuzz.targets import _result_of_a_row

    result = _result_of_a_row()
    with tempfile.TemporaryDirectory() as place:
        with FamilyFolder(place, base="b.toml", table="t.csv") as into:
            into.add(result)
            into.finish()
        files = {f.name: f.read_bytes() for f in sorted(Path(place).iterdir())}
    files["index.html"] = files["index.html"][:300]
    mark = b'{"base": "b.toml", "table": "t.csv"}\n'
    line = result.lines.json.encode() + b"\n"
    cut_off = {
        ".unfinished/family.json": mark,
        ".unfinished/journal.jsonl": line + line[:100],
        ".unfinished/before.json": files["index.json"],
        "knob-25.nc": files["knob-25.nc"],
        "UNFINISHED.txt": NOTICE[:75].encode(),
    }
    return [bytes([k]) + _joined(some) for some in (files, cut_off, {}) for k in range(3)]


def _joined(files: Mapping[str, bytes]) -> bytes:
    return b"".join(b"\n==== " + name.encode() + b" ====\n" + t for name, t in files.items())
