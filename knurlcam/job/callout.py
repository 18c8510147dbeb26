"""Drawing callouts such as ``DIN 82 RGE 1.0`` or ``96 DP diamond`` to a knurl and back.

A callout names a form and one pitch, and may add a helix angle, a profile
angle and a purpose, in any usual spelling and order. It is read in three
steps: the text is cut into numbers, words and signs; words are looked up,
longest phrase first, in one table of what they mean; numbers are bound to the
unit or name beside them. Whatever is left over is refused by name, because a
word that is passed over may be the one that mattered.

How the open questions of shop language are answered here:

* A form word stands for the forms that it may mean, and the form is what all
  of them allow. ``diamond`` and ``cross`` alone have their points raised;
  ``diagonal`` alone is refused, because the hand is missing.
* A bare number is a pitch in mm only beside a DIN 82 form code or the words
  DIN 82. Two digits without a decimal sign are that standard's pitch code in
  tenths of a millimetre (DIN 82:1973-01, English issue, p. 3: ``Knurl RGE 08
  DIN 82`` is 0.8 mm); only its six codes are taken, so that 21 meant as teeth
  per inch is not read as 2.1 mm.
* A second bare number beside a form code is the profile angle, if it is one of that standard's
  (2.1: ``RGE 08 - 105 DIN 82``).
* A bare angle below 60 degrees is the helix, from 60 degrees up the profile.
* A decimal comma is a decimal point.

The file is longer than others because its parts make sense together only: what words mean, how a
text is cut, and how numbers are bound to them.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Literal, NoReturn, get_args

from knurlcam.data.caches import kept_until_cleared
from knurlcam.data.knurls import forms, helical_forms, profile_angles_deg, trade_tpi
from knurlcam.errors import InputError, nearest
from knurlcam.job.limits import LIMITS
from knurlcam.text import shortened

__all__ = [
    "Callout",
    "CalloutError",
    "Purpose",
    "System",
    "format_callout",
    "parse_callout",
]

System = Literal["pitch", "tpi", "dp"]
Purpose = Literal["grip", "appearance", "press fit"]

MOST_CHARACTERS = 200
"""Characters of a callout; a drawing's takes some forty."""

_FIGURES = {
    "pitch": "pitch of {} mm",
    "tpi": "{} teeth per inch",
    "dp": "diametral pitch of {}",
    "helix": "helix angle of {}°",
    "profile": "profile angle of {}°",
}

# How a form is called where no DIN code is usual: words that parse back to each. A form that only
# a shop's own table holds is called by its letters.
_FORM_WORDS = {
    "RAA": "straight",
    "RBL": "left-hand diagonal",
    "RBR": "right-hand diagonal",
    "RGE": "raised diamond",
    "RGV": "indented diamond",
    "RKE": "raised cross",
    "RKV": "indented cross",
}

# DIN 82:1973-01 (English issue), p. 3, prints 08 for 0.8 mm; the other five are
# from memory.
_PITCH_CODES = ("05", "06", "08", "10", "12", "16")

_EXAMPLES = '"DIN 82 RGE 1.0", "96 DP diamond", "21 TPI straight" or "medium diamond"'


class CalloutError(InputError):
    """A callout is not understood, is incomplete or contradicts itself."""


@dataclass(frozen=True, slots=True)
class Callout:
    """A knurl as a drawing calls it up.

    Attributes:
        form: Letters of a form in the table of forms: RAA, RBL, RBR, RGE, RGV, RKE or RKV of
            DIN 82, unless a shop's own table holds others.
        system: How the pitch is given.
        value: Pitch [mm], teeth per inch [1/in] or diametral pitch [1/in].
        helix_deg: Helix angle [deg], more than 0 and less than 60 for helical
            forms, None or 0 for the others; None where the drawing is silent.
        profile_deg: Profile angle of the teeth [deg], 60 to 120; None where the
            drawing is silent.
        purpose: What the knurl is for; None where the drawing is silent.

    Raises:
        CalloutError: if a field lies outside what is said here or in ``LIMITS``.
    """

    form: str
    system: System
    value: float
    helix_deg: float | None = None
    profile_deg: float | None = None
    purpose: Purpose | None = None

    def __post_init__(self) -> None:
        _check_choice("form", self.form, tuple(forms()))
        _check_choice("system", self.system, get_args(System))
        if self.purpose is not None:
            _check_choice("purpose", self.purpose, get_args(Purpose))
        object.__setattr__(self, "value", _within(self.system, self.value))
        if self.helix_deg is not None:
            object.__setattr__(self, "helix_deg", _checked_helix(self.helix_deg, self.form))
        if self.profile_deg is not None:
            object.__setattr__(self, "profile_deg", _within("profile", self.profile_deg))


def parse_callout(text: str) -> Callout:
    """Return the knurl that a drawing's callout asks for.

    Args:
        text: The callout, at most 200 characters.

    Returns:
        The callout; what it leaves open is None.

    Raises:
        CalloutError: if a word is not known, the form or the pitch is missing
            or given twice, parts contradict each other, or a figure lies
            outside ``LIMITS``.

    Example:
        >>> parse_callout("Knurl RGE 08 DIN 82").value
        0.8
        >>> parse_callout("straight 21 tpi, press fit").purpose
        'press fit'

    Sources:
        [1] DIN 82:1973-01 (English issue), designation example p. 3; read.
        [2] "DIN 82-RGE 0,8", the form written today; from memory.
        [3] Coarse, medium, fine in teeth per inch: see ``tables.trade_tpi``.
    """
    if not isinstance(text, str):
        raise CalloutError(
            f"a callout is a text, not {type(text).__name__}",
            value=text,
            expected="a text",
            remedy=f"write it such as {_EXAMPLES}",
        )
    if len(text) > MOST_CHARACTERS:
        raise CalloutError(
            f"a callout of {len(text)} characters is too long",
            value=text[:MOST_CHARACTERS],
            expected=f"at most {MOST_CHARACTERS} characters",
            remedy=f"write it such as {_EXAMPLES}",
        )
    return _parsed(text)


@kept_until_cleared(256)
def _parsed(text: str) -> Callout:
    """Parse a callout; the jobs of one shop have the same few again and again."""
    return _Reader(text, list(_items(text))).callout()


def format_callout(callout: Callout) -> str:
    """Return the callout as a drawing would have it; the inverse of ``parse_callout``.

    Args:
        callout: What to write.

    Example:
        >>> format_callout(Callout("RGE", "pitch", 1.0, helix_deg=25.0))
        'DIN 82 RGE 1.0, helix 25°'
        >>> format_callout(Callout("RAA", "tpi", 21.0, purpose="press fit"))
        '21 TPI straight, press fit'
    """
    if callout.system == "pitch":
        parts = [f"DIN 82 {callout.form} {callout.value!r}"]
    else:
        unit = callout.system.upper()
        parts = [f"{_short(callout.value)} {unit} {_FORM_WORDS.get(callout.form, callout.form)}"]
    if callout.helix_deg is not None:
        parts.append(f"helix {_short(callout.helix_deg)}°")
    if callout.profile_deg is not None:
        parts.append(f"profile {_short(callout.profile_deg)}°")
    if callout.purpose is not None:
        parts.append(callout.purpose)
    return ", ".join(parts)


def _short(value: float) -> str:
    """Return the shortest text of *value* that parses back to it."""
    return repr(value).removesuffix(".0")


# --- Bounds ------------------------------------------------------------------


def _check_choice(what: str, given: object, known: tuple[str, ...]) -> None:
    if given not in known:
        raise CalloutError(
            f"unknown {what} {shortened(given)}",
            value=given,
            expected=f"one of {', '.join(known)}",
            remedy=nearest(str(given), known),
        )


def _within(figure: str, value: float) -> float:
    """Return *value* as a float if it lies within the limits of *figure*."""
    low, high = LIMITS[figure]
    inside = isinstance(value, (int, float)) and not isinstance(value, bool)
    if inside:
        inside = low < value < high if figure == "helix" else low <= value <= high
    if not inside:
        unit = {"pitch": " mm", "helix": "°, both excluded", "profile": "°"}.get(figure, "")
        raise CalloutError(
            f"{_FIGURES[figure].format(_as_given(value))} is outside the range that knurlcam plans",
            value=value,
            expected=f"{low:g} to {high:g}{unit}",
            remedy="check the decimal sign and the unit",
        )
    return float(value)


def _as_given(value: object) -> str:
    return f"{value:g}" if isinstance(value, float) else shortened(value)


def _checked_helix(helix_deg: float, form: str) -> float:
    """Return the helix angle if *form* can have it; 0 is what straight forms have."""
    if forms()[form].helical:
        return _within("helix", helix_deg)
    if helix_deg != 0:
        raise CalloutError(
            f"form {form} has no helix angle",
            value=helix_deg,
            expected=f"no helix angle, or a helical form ({', '.join(helical_forms())})",
            remedy="leave the helix angle out or correct the form",
        )
    return 0.0


# --- What words mean ---------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Item:
    """One piece of a callout: a number, or a phrase with its role and meaning.

    Attributes:
        role: number, unit (follows or precedes a number: mm, inch, tpi, dp,
            degree), name (pitch, helix, profile), form, purpose, trade,
            standard, noise, joint (a small word between others), sign.
        text: As written, folded to lower case.
        meaning: For a unit, name, purpose or standard: which one.
        forms: For a form: the forms that the phrase may mean.
    """

    role: str
    text: str
    meaning: str = ""
    forms: frozenset[str] = frozenset()


_DIAMOND = "RGE RGV"
_CROSS = "RKE RKV"
_FORMS = {
    "straight|parallel|axial|longitudinal": "RAA",
    "diagonal|helical|spiral|oblique": "RBL RBR",
    "left hand|left handed|left|lh": "RBL",
    "right hand|right handed|right|rh": "RBR",
    "diamond|diamonds|left right|left / right|left and right": _DIAMOND,
    "cross|crossed|square|checkered|chequered": _CROSS,
    "raised|male|points raised|raised points|points up": "RGE RKE",
    "indented|female|recessed|points indented|indented points|points down": "RGV RKV",
}
_UNITS = {
    "mm|millimetre|millimetres|millimeter|millimeters": "mm",
    'in|inch|inches|"': "inch",
    "tpi|teeth per inch|teeth per in|teeth / inch|teeth / in": "tpi",
    "dp|diametral pitch": "dp",
    "°|deg|degree|degrees": "degree",
}
_NAMES = {
    "pitch|p|t": "pitch",
    "helix|helix angle": "helix",
    "profile|profile angle|included angle|tooth angle": "profile",
}
_PURPOSES = {
    "grip|gripping": "grip",
    "appearance|looks|decoration|decorative": "appearance",
    "press fit|pressfit|force fit|interference fit": "press fit",
}
_NOISE = {"knurl|knurls|knurled|knurling|form|type|pattern|teeth": ""}
_JOINTS = {"with|for|of|at|a|an|the|and": "", "x|×": "times"}


@kept_until_cleared()
def _phrases() -> Mapping[tuple[str, ...], _Item]:
    """Return the one table of what each phrase means.

    Letters of forms come first, so that a form of a shop's own that is spelled like a word of
    drawings does not take the word away.
    """
    roles = {
        "unit": _UNITS,
        "name": _NAMES,
        "purpose": _PURPOSES,
        "noise": _NOISE,
        "joint": _JOINTS,
    }
    codes = {form.casefold(): form for form in forms()}
    rows = [(code, _Item("form", code, forms=frozenset([form]))) for code, form in codes.items()]
    rows += [
        (phrase, _Item(role, phrase, meaning))
        for role, table in roles.items()
        for phrases, meaning in table.items()
        for phrase in phrases.split("|")
    ]
    rows += [
        (phrase, _Item("form", phrase, forms=frozenset(meant.split()) & forms().keys()))
        for phrases, meant in _FORMS.items()
        for phrase in phrases.split("|")
    ]
    return {tuple(phrase.split()): item for phrase, item in rows}


_LONGEST_PHRASE = 3
"""Words and signs of the longest phrase; a test counts them."""

_STANDARDS = ("DIN", "ISO", "ANSI", "ASME")


# --- Cutting the text --------------------------------------------------------

_YEAR = r"(?:\s?[-:]\s?(?:19|20)[0-9]{2}(?:-[0-9]{2})?)?"
_END = r"(?![0-9]|[.,][0-9])"
_B94 = rf"b\s?94\.6{_YEAR}(?:\s?\(?r(?:19|20)[0-9]{{2}}\)?)?{_END}"
_BODY = r"(?:ansi|asme)(?:\s?/\s?(?:ansi|asme))?(?![a-z])"
_TOKEN = re.compile(
    rf"""
    (?P<space>\s+)
  | (?P<standard>
        din(?:[\s-]{{0,3}}82{_YEAR}{_END}|(?![^\W\d_]))
      | iso(?:[\s-]{{0,3}}13444{_YEAR}{_END}|(?![^\W\d_]))
      | {_BODY}(?:[\s-]{{0,3}}{_B94})?
      | {_B94}
    )
  | (?P<number>(?:[0-9]+(?:[.,][0-9]+)?|\.[0-9]+)(?:e[+-]?[0-9]{{1,3}}(?![0-9]))?)
  | (?P<letters>[a-z](?:\.[a-z])+(?![^\W\d_])\.?)
  | (?P<word>[^\W\d_]+)
  | (?P<sign>.)
    """,
    re.VERBOSE,
)
_SIGNS = str.maketrans({"º": "°", "˚": "°", "″": '"', "”": '"', "−": "-", "–": "-", "—": "-"})
_SEPARATORS = frozenset(",;:()[]-=|.")


def _tokens(text: str) -> list[tuple[str, str]]:
    """Cut *text* into (kind, text); a hyphen between two words is dropped."""
    tokens: list[tuple[str, str]] = []
    folded = text.casefold().translate(_SIGNS)
    for match in _TOKEN.finditer(folded):
        kind, piece = str(match.lastgroup), match.group()
        if kind == "space":
            continue
        if kind == "sign" and piece in "-," and folded[match.end() : match.end() + 1].isdigit():
            _refuse_sign_before_digit(text, piece, folded[: match.start()])
        tokens.append(("word" if kind == "letters" else kind, _undotted(kind, piece)))
    return [
        token
        for i, token in enumerate(tokens)
        if token[1] != "-" or not _is_word(tokens, i - 1) or not _is_word(tokens, i + 1)
    ]


def _undotted(kind: str, piece: str) -> str:
    return piece.replace(".", "") if kind == "letters" else piece


def _is_word(tokens: list[tuple[str, str]], i: int) -> bool:
    return 0 <= i < len(tokens) and tokens[i][0] == "word"


def _refuse_sign_before_digit(text: str, sign: str, before: str) -> None:
    """Refuse ``-0.8`` and ``,8`` where the sign does not just join two parts."""
    if sign == "-" and (before[-1:].isalnum() or before[-1:] == "°"):
        return
    problem = "a negative number" if sign == "-" else "a comma just before a digit"
    remedy = "write a space after a comma and a digit before a decimal sign"
    _refuse(text, problem, remedy="leave the minus sign out" if sign == "-" else remedy)


def _items(text: str) -> Iterator[_Item]:
    """Yield what each number, phrase and sign of *text* is, in order."""
    tokens = _tokens(text)
    at = 0
    while at < len(tokens):
        kind, piece = tokens[at]
        length, item = _phrase_at(tokens, at)
        if item is not None:
            yield item
        elif kind in ("number", "standard"):
            yield _Item(kind, piece)
        elif kind == "word":
            yield _trade_word(text, piece)
        elif piece in _SEPARATORS or piece == "/":
            yield _Item("sign", piece)
        else:
            _refuse(text, f"the sign {piece!r} is not understood", remedy=_like_examples())
        at += length


def _phrase_at(tokens: list[tuple[str, str]], at: int) -> tuple[int, _Item | None]:
    """Return the longest known phrase that starts at *at*, and its length."""
    for length in range(_LONGEST_PHRASE, 0, -1):
        item = _phrases().get(tuple(piece for _, piece in tokens[at : at + length]))
        if item is not None and at + length <= len(tokens):
            return length, item
    return 1, None


def _trade_word(text: str, word: str) -> _Item:
    """Return coarse, medium or fine; refuse any other word, offering the nearest."""
    if word not in trade_tpi():
        known = {_proper(part) for phrase in _phrases() for part in phrase if len(part) > 1}
        offer = nearest(word, sorted({*known, *_STANDARDS, *trade_tpi()}))
        if not offer.startswith("did you mean"):
            offer = _like_examples()
        _refuse(text, f"the word {shortened(word)} is not understood", remedy=offer)
    return _Item("trade", word)


def _proper(word: str) -> str:
    """Return a known word as a drawing writes it: codes in capitals."""
    capitals = (*forms(), "TPI", "DP", "LH", "RH")
    return word.upper() if word.upper() in capitals else word


def _like_examples() -> str:
    return f"write it such as {_EXAMPLES}"


def _refuse(text: str, problem: str, *, remedy: str, expected: str | None = None) -> NoReturn:
    raise CalloutError(
        problem,
        value=text,
        expected=expected or "a form and a pitch, and no word that is not understood",
        remedy=remedy,
    )


# --- Binding numbers and gathering meanings ----------------------------------


@dataclass(slots=True)
class _Reader:
    """Gathers what the items of one callout say, and refuses contradictions."""

    text: str
    items: list[_Item]
    at: int = 0
    form_words: list[str] = field(default_factory=list)
    forms: frozenset[str] = field(default_factory=lambda: frozenset(forms()))
    pitches: list[tuple[str, float, str]] = field(default_factory=list)
    trade: str | None = None
    bare: str | None = None
    angles: dict[str, float] = field(default_factory=dict)
    purposes: set[str] = field(default_factory=set)
    standard: str | None = None

    def callout(self) -> Callout:
        """Read all items and return what they say together."""
        while self.at < len(self.items):
            self._read_one(self.items[self.at])
        self._settle_bare_number()
        form, pitch = self._form(), self._pitch()
        if pitch is None or form is None:
            self._refuse_missing(form=form is None, pitch=pitch is None)
        if len(self.purposes) > 1:
            self._contradiction(f"two purposes: {' and '.join(sorted(self.purposes))}")
        try:
            return Callout(
                form=form,
                system=pitch[0],
                value=pitch[1],
                helix_deg=self.angles.get("helix"),
                profile_deg=self.angles.get("profile"),
                purpose=next(iter(self.purposes), None),  # type: ignore[arg-type]
            )
        except CalloutError as error:
            raise error.at(value=self.text, remedy=error.remedy or _like_examples()) from None

    # Reading, item by item.

    def _peek(self, ahead: int = 0) -> _Item:
        """Return the item *ahead* of the present one; a role of its own past the ends."""
        i = self.at + ahead
        return self.items[i] if 0 <= i < len(self.items) else _Item("end", "")

    def _read_one(self, item: _Item) -> None:
        if item.role == "number":
            self._read_number()
        elif item.role == "name" or item.meaning in ("tpi", "dp"):
            self._read_named_number()
        else:
            self._read_word(item)
            self.at += 1

    def _read_word(self, item: _Item) -> None:
        """Take an item that is complete in itself."""
        if item.role == "form":
            self.form_words.append(item.text)
            self.forms &= item.forms
        elif item.role == "purpose":
            self.purposes.add(item.meaning)
        elif item.role == "trade":
            if self.trade not in (None, item.text):
                self._contradiction(f"two pitches: {self.trade} and {item.text}")
            self.trade = item.text
        elif item.role == "standard":
            if self.standard is not None:
                self._contradiction(f"two standards: {self.standard} and {item.text}")
            self.standard = item.text
        else:
            self._check_place(item)

    def _check_place(self, item: _Item) -> None:
        """Refuse a small word or sign that joins nothing, and a unit without a number."""
        before, after = self._peek(-1).role, self._peek(1).role
        if item.role == "unit":
            self._refuse(f"{item.text!r} has no number", "write the number before its unit")
        if item.meaning == "times":
            out_of_place = before not in ("number", "unit") or after != "number"
        elif item.text == "/":
            out_of_place = {before, after} & {"number", "unit", "sign", "end"} != set()
        else:
            out_of_place = (item.role == "joint" and after in ("joint", "sign", "end")) or (
                item.text == "="
            )
        if out_of_place:
            self._refuse(f"{item.text!r} is out of place", _like_examples())

    def _read_named_number(self) -> None:
        """Read ``pitch 0.8 mm``, ``DP 96``, ``P=0.8``, ``helix 30°``."""
        name = self._peek()
        skip = 2 if self._peek(1).text in ("=", ":", "-") else 1
        if self._peek(skip).role != "number":
            if name.meaning != "pitch" or not self._beside_trade_word():
                self._refuse(f"{name.text!r} has no number", f"write a number beside {name.text!r}")
            self.at += 1
            return
        number = self._peek(skip).text
        unit = self._peek(skip + 1)
        self.at += skip + 1
        if unit.role == "unit":
            self.at += 1
        self._state(name.meaning, number, unit.meaning if unit.role == "unit" else "")

    def _beside_trade_word(self) -> bool:
        return "trade" in (self._peek(-1).role, self._peek(1).role)

    def _read_number(self) -> None:
        """Read ``0.8 mm``, ``96 DP``, ``30° helix``, ``0.8 pitch`` or a bare number."""
        number = self._peek().text
        self.at += 1
        if self._peek().text == "-" and self._peek(1).role == "unit":
            self.at += 1
        unit = ""
        if self._peek().role == "unit":
            unit = self._peek().meaning
            self.at += 1
        name = ""
        if self._names_the_number_before(unit):
            name = self._peek().meaning
            self.at += 1
        if not unit and not name:
            self._take_bare(number)
        else:
            self._state(name, number, unit)

    def _names_the_number_before(self, unit: str) -> bool:
        """Tell whether the present item names the number just read.

        ``helix`` and ``profile`` do so only after a degree sign: in
        ``RGE 1.0 helix 30`` the 1.0 is the pitch.
        """
        here = self._peek()
        if here.role != "name":
            return False
        if here.meaning == "pitch":
            following = self._peek(2 if self._peek(1).text in ("=", ":") else 1)
            return unit != "degree" and following.role != "number"
        return unit == "degree"

    def _take_bare(self, number: str) -> None:
        if self.bare is not None and self._is_profile_code(number):
            self.angles["profile"] = _float(number)
            return
        if self.bare is not None:
            self._contradiction(f"two numbers without a unit: {self.bare} and {number}")
        self.bare = number

    def _is_profile_code(self, number: str) -> bool:
        """Tell whether a second bare number is the profile angle of a designation by DIN 82."""
        # DIN 82:1973-01, 2.1, prints RGE 08 - 105 DIN 82: the angle follows the pitch.
        by_form = any(word.upper() in forms() for word in self.form_words)
        codes = {f"{angle:g}" for angle in profile_angles_deg()}
        return by_form and number in codes and "profile" not in self.angles

    def _state(self, name: str, number: str, unit: str) -> None:
        """Take a number with its name and unit, of which one may be missing."""
        shown = f"{number} {unit}".strip()
        if unit == "degree" or name in ("helix", "profile"):
            self._take_angle(name, number, unit)
        elif unit in ("tpi", "dp") or name in ("tpi", "dp"):
            if name in ("tpi", "dp") and unit not in ("", name):
                self._contradiction(f"{shown!r} is not a value of {name}")
            self.pitches.append((unit or name, _float(number), shown))
        elif unit == "inch":
            self.pitches.append(("pitch", _inch_to_mm(number), shown))
        else:
            self.pitches.append(("pitch", _float(number), shown))

    def _take_angle(self, name: str, number: str, unit: str) -> None:
        degrees = _float(number)
        if unit not in ("", "degree") or name not in ("", "helix", "profile"):
            self._contradiction(f"'{number} {unit}' is not a value of {name}")
        name = name or ("helix" if degrees < LIMITS["profile"][0] else "profile")
        if name in self.angles:
            self._contradiction(f"two {name} angles: {self.angles[name]:g} and {degrees:g}")
        self.angles[name] = degrees

    # Settling, after the last item.

    def _settle_bare_number(self) -> None:
        """Take a number without a unit as a DIN 82 pitch, where that is meant."""
        if self.bare is None:
            return
        named_din = (self.standard or "").startswith(("din", "iso"))
        if not named_din and not any(word.upper() in forms() for word in self.form_words):
            self._refuse(
                f"the number {self.bare} has no unit",
                f"write {self.bare} mm, {self.bare} TPI or {self.bare} DP",
            )
        if len(self.bare) == 2 and self.bare.isdigit():
            self._take_pitch_code(self.bare)
        else:
            self.pitches.append(("pitch", _float(self.bare), self.bare))

    def _take_pitch_code(self, code: str) -> None:
        if code not in _PITCH_CODES:
            self._refuse(
                f"{code} is not a pitch code of DIN 82",
                f"write {int(code) / 10:.1f} for a pitch in mm, or {code} TPI",
                expected=f"one of {', '.join(_PITCH_CODES)} in tenths of a millimetre",
            )
        self.pitches.append(("pitch", float(Decimal(code) / 10), code))

    def _pitch(self) -> tuple[System, float] | None:
        """Return the one pitch; a trade word may repeat it, if it agrees."""
        stated = list(self.pitches)
        if self.trade is not None:
            value = float(trade_tpi()[self.trade])
            if not any(pitch[:2] == ("tpi", value) for pitch in stated):
                stated.append(("tpi", value, self.trade))
        if len(stated) > 1:
            self._contradiction(f"two pitches: {stated[0][2]} and {stated[1][2]}")
        if not stated:
            return None
        return stated[0][0], stated[0][1]  # type: ignore[return-value]

    def _form(self) -> str | None:
        """Return the one form that all form words allow; points are raised by default."""
        words = ", ".join(map(_proper, self.form_words))
        if not self.form_words:
            return None
        if not self.forms:
            self._contradiction(f"no form is all of: {words}")
        if self.forms == {"RBL", "RBR"}:
            self._refuse(
                f"{words!r} does not say the hand",
                "write left-hand or right-hand",
                expected="the hand of the helix",
            )
        kinds = {form[:2] for form in self.forms}
        if len(kinds) > 1:
            return None
        return min(self.forms)  # RGE before RGV, RKE before RKV

    def _refuse_missing(self, *, form: bool, pitch: bool) -> NoReturn:
        missing = "form and the pitch are" if form and pitch else "form is" if form else "pitch is"
        remedies = []
        if form:
            remedies.append("add a form such as RGE, straight or diamond")
        if pitch:
            remedies.append("add a pitch such as 1.0 mm, 21 TPI or 96 DP")
        self._refuse(f"the {missing} missing", " and ".join(remedies))

    def _contradiction(self, problem: str) -> NoReturn:
        self._refuse(problem, "leave out what is wrong", expected="one form and one pitch")

    def _refuse(self, problem: str, remedy: str, expected: str | None = None) -> NoReturn:
        _refuse(self.text, problem, remedy=remedy, expected=expected)


def _float(number: str) -> float:
    return float(number.replace(",", "."))


def _inch_to_mm(number: str) -> float:
    return float(Decimal(number.replace(",", ".")) * Decimal("25.4"))
