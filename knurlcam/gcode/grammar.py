"""What a dialect's template may hold: a small language, looked through before it is compiled.

A template lays out blocks and calculates nothing. It may come from a stranger: what it may
hold is listed here, with the kind of each value, and all else is refused by line. So nothing in
it can reach for what it was not given, grow a text, or lay out what is no text.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any, Literal, NamedTuple

from jinja2 import TemplateAssertionError, nodes

__all__ = ["COUNTED", "FILTERS", "LOOP_FIELDS", "TESTS", "VARIABLES", "WORK", "look_through"]

Kind = Literal["text", "number", "truth", "lines", "joined", "loop"]
"""Of a value: a line or a word; a count; yes or no; lines; lines that were joined, which are
laid out or looked through at once and kept under no name; what ``loop`` is."""

VARIABLES: Mapping[str, Kind] = {
    "form": "text",
    "start": "lines",
    "header": "lines",
    "modes": "text",
    "speed_limit": "text",
    "tool_call": "lines",
    "body": "lines",
    "offset_cancel": "text",
    "safe_return": "lines",
    "program_end": "text",
    "end": "lines",
}
"""What a template is given."""

MOST_DEPTH = 40
"""Nodes in nodes; each takes a level of Python's own stack, and of its indentation."""

MOST_LOOPS = 6
"""Loops in loops; Python compiles 20 blocks in blocks."""

MOST_INTEGER = 1_000_000


class Filter(NamedTuple):
    """A filter that a template may use.

    Attributes:
        takes: Kinds of what stands before it.
        gives: Kind of what it makes of that.
        arguments: Most constants that it takes.
    """

    takes: tuple[Kind, ...]
    gives: Kind
    arguments: int = 0


FILTERS: Mapping[str, Filter] = {
    "count": Filter(("lines", "text"), "number"),
    "first": Filter(("lines",), "text"),
    "join": Filter(("lines",), "joined", 1),
    "last": Filter(("lines",), "text"),
    "length": Filter(("lines", "text"), "number"),
    "lower": Filter(("text",), "text"),
    "trim": Filter(("text",), "text"),
    "upper": Filter(("text",), "text"),
}
"""All by name: none makes a text longer than the texts that it is made of."""

TESTS: Mapping[str, tuple[Kind, ...] | None] = {
    "defined": None,
    "undefined": None,
    "even": ("number",),
    "odd": ("number",),
}
"""Tests by name, and what they take: a name of any kind where it is None."""

LOOP_FIELDS: Mapping[str, Kind] = {
    "first": "truth",
    "last": "truth",
    "index": "number",
    "index0": "number",
    "revindex": "number",
    "revindex0": "number",
    "length": "number",
}
"""What ``loop`` has."""

WORK = "_work"
"""Variable that counts the work; a template cannot name what begins with an underscore."""

COUNTED = "counted"
"""Filter put before what is gone through, with the work and the steps for each line; a template
cannot name it."""

_Names = dict[str, Kind]
"""Names that stand for something where a node stands, and the kind of it."""

_Typed = tuple[nodes.Expr, Kind]
"""An expression as it is compiled, and the kind of its value."""


def _refused(node: nodes.Node, what: str) -> TemplateAssertionError:
    return TemplateAssertionError(what, node.lineno)


_CALCULATING: Mapping[type[nodes.Node], str] = {
    nodes.Add: "+",
    nodes.Sub: "-",
    nodes.Mul: "*",
    nodes.Div: "/",
    nodes.FloorDiv: "//",
    nodes.Mod: "%",
    nodes.Pow: "**",
    nodes.Neg: "-",
    nodes.Pos: "+",
    nodes.Concat: "~",
}

_WORDS: Mapping[type[nodes.Node], str] = {
    nodes.AssignBlock: "a set block",
    nodes.Block: "a block of its own",
    nodes.Call: "a call",
    nodes.CallBlock: "a call block",
    nodes.Dict: "a dictionary",
    nodes.Extends: "extends",
    nodes.FilterBlock: "a filter block",
    nodes.FromImport: "an import",
    nodes.Import: "an import",
    nodes.Include: "an include",
    nodes.Macro: "a macro",
    nodes.NSRef: "a namespace",
    nodes.Scope: "a scope of autoescape",
}


def _stranger(node: nodes.Node) -> TemplateAssertionError:
    """Return the refusal of a node that has no place in a template of blocks."""
    sign = _CALCULATING.get(type(node))
    if sign is not None:
        return _refused(node, f"a template calculates nothing, and here stands {sign}")
    what = _WORDS.get(type(node), f"a {type(node).__name__}")
    return _refused(node, f"here stands {what}; a template lays out blocks and nothing more")


def look_through(tree: nodes.Template) -> None:
    """See that a template holds nothing but what it may, and have its loops counted.

    Raises:
        TemplateAssertionError: with the line of what it must not hold.
    """
    level: list[nodes.Node] = [tree]
    for _ in range(MOST_DEPTH):
        level = [child for node in level for child in node.iter_child_nodes()]
    if level:
        raise _refused(level[0], "it is nested too deep")
    _statements(tree.body, dict(VARIABLES), 0)


def _statements(body: Iterable[nodes.Node], names: _Names, loops: int) -> None:
    for node in body:
        look = _STATEMENTS.get(type(node))
        if look is None:
            raise _stranger(node)
        look(node, names, loops)


def _output(node: nodes.Output, names: _Names, loops: int) -> None:
    laid_out: list[nodes.Expr] = []
    for child in node.nodes:
        if isinstance(child, nodes.TemplateData):
            _characters(child, child.data)
            laid_out.append(child)
            continue
        expression, kind = _expression(child, names)
        if kind == "lines":
            raise _refused(
                child, "here stands a list of lines, not a line: loop over it or join it"
            )
        if kind not in ("text", "number", "joined"):
            raise _refused(child, "here stands what is no text")
        laid_out.append(expression)
    node.nodes = laid_out


def _characters(node: nodes.Node, text: str) -> None:
    """Refuse text that is no control's: it would reach a terminal, and read otherwise there."""
    for c in text:
        if not (" " <= c <= "~" or c in "\n\t"):
            raise _refused(node, f"the character {c!a} is none that a control takes")


def _if(node: nodes.If, names: _Names, loops: int) -> None:
    node.test = _condition(node.test, names)
    for branch in (node.body, node.elif_, node.else_):
        _statements(branch, names, loops)


def _for(node: nodes.For, names: _Names, loops: int) -> None:
    if node.recursive:
        raise _refused(node, "here stands a recursive loop; a template goes through lines once")
    if loops == MOST_LOOPS:
        raise _refused(node, f"more than {MOST_LOOPS} loops stand in each other")
    steps = 1 + sum(1 for part in node.body for _ in part.find_all(nodes.Node))
    node.iter = _over_lines(node.iter, names, steps)
    inside = {**names, _stored(node.target): "text"}
    if node.test is not None:
        node.test = _condition(node.test, inside)
    _statements(node.body, {**inside, "loop": "loop"}, loops + 1)
    _statements(node.else_, dict(names), loops)


def _assign(node: nodes.Assign, names: _Names, loops: int) -> None:
    node.node, kind = _kept(node.node, names)
    name = _stored(node.target)
    if names.get(name, kind) != kind:
        raise _refused(node, f"{name!r} stands for something of another kind already")
    names[name] = kind


def _with(node: nodes.With, names: _Names, loops: int) -> None:
    inside = dict(names)
    for i, (target, value) in enumerate(zip(node.targets, node.values, strict=True)):
        node.values[i], inside[_stored(target)] = _kept(value, names)
    _statements(node.body, inside, loops)


_STATEMENTS: Mapping[type[nodes.Node], Callable[[Any, _Names, int], None]] = {
    nodes.Output: _output,
    nodes.If: _if,
    nodes.For: _for,
    nodes.Assign: _assign,
    nodes.With: _with,
}


_TAKEN = ("loop", "self", "super", "caller")
"""Names that mean something to Jinja."""


def _stored(node: nodes.Node) -> str:
    """Return the name under which something is kept."""
    if type(node) is not nodes.Name:
        raise _refused(node, "here stands no single name to keep something under")
    name = str(node.name)
    # Python takes several letters of other alphabets for one, and two names for one with it.
    if not name.isascii() or name.startswith("_") or name in _TAKEN:
        raise _refused(node, f"nothing can be kept under the name {name!r}")
    return name


def _kept(node: nodes.Node, names: _Names) -> _Typed:
    """Return what is kept under a name: never a text that grew."""
    expression, kind = _expression(node, names)
    if kind in ("joined", "loop"):
        raise _refused(node, "here stands what cannot be kept under a name")
    return expression, kind


def _condition(node: nodes.Node, names: _Names) -> nodes.Expr:
    expression, kind = _expression(node, names)
    if kind == "loop":
        raise _refused(node, "loop is neither true nor false; one of its fields is meant")
    return expression


def _over_lines(node: nodes.Node, names: _Names, steps: int) -> nodes.Expr:
    """Return lines that are gone through, and counted before they are."""
    expression, kind = _expression(node, names)
    if kind != "lines":
        raise _refused(node, "here stands no list of lines to go through")
    return _with_work(expression, COUNTED, [nodes.Const(steps)])


def _with_work(node: nodes.Expr, name: str, arguments: list[nodes.Expr]) -> nodes.Expr:
    """Return a filter that is also given the count of the work."""
    line = node.lineno
    work = nodes.Name(WORK, "load", lineno=line)
    return nodes.Filter(node, name, [work, *arguments], [], None, None, lineno=line)


# -- expressions ---------------------------------------------------------------


def _expression(node: nodes.Node, names: _Names) -> _Typed:
    """Return an expression as it is compiled, and the kind of its value."""
    look = _EXPRESSIONS.get(type(node))
    if look is None:
        raise _stranger(node)
    return look(node, names)


def _name(node: nodes.Name, names: _Names) -> _Typed:
    if node.name not in names:
        raise _refused(node, f"{node.name!r} is undefined")
    return node, names[node.name]


def _const(node: nodes.Const, names: _Names) -> _Typed:
    value = node.value
    if isinstance(value, str):
        _characters(node, value)
        return node, "text"
    if isinstance(value, bool):
        return node, "truth"
    if isinstance(value, int) and value <= MOST_INTEGER:
        return node, "number"
    raise _refused(node, "here stands a constant that is no text and no whole number to count by")


def _constants(node: nodes.List | nodes.Tuple, names: _Names) -> _Typed:
    for item in node.items:
        if type(item) is not nodes.Const:
            raise _refused(item, "a list in a template holds constants only")
        _const(item, names)
    return node, "lines"


def _filter(node: nodes.Filter, names: _Names) -> _Typed:
    row = FILTERS.get(node.name)
    if row is None or node.node is None:
        known = ", ".join(FILTERS)
        raise _refused(node, f"No filter named {node.name!r}; there are {known}")
    expression, kind = _expression(node.node, names)
    if kind not in row.takes:
        raise _refused(node, f"the filter {node.name} takes {' or '.join(row.takes)}, no {kind}")
    constants = all(type(a) is nodes.Const and isinstance(a.value, str) for a in node.args)
    named = node.kwargs or node.dyn_args is not None or node.dyn_kwargs is not None
    if named or not constants or len(node.args) > row.arguments:
        raise _refused(
            node, f"the filter {node.name} takes {row.arguments or 'no'} text in parentheses"
        )
    for argument in node.args:
        _expression(argument, names)
    if row.gives == "joined":
        return _with_work(expression, node.name, node.args), row.gives
    node.node = expression
    return node, row.gives


def _test(node: nodes.Test, names: _Names) -> _Typed:
    if node.name not in TESTS or node.args or node.kwargs or node.dyn_args or node.dyn_kwargs:
        known = ", ".join(TESTS)
        raise _refused(node, f"No test named {node.name!r} that stands so; there are {known}")
    takes = TESTS[node.name]
    if takes is not None:
        node.node, kind = _expression(node.node, names)
        if kind not in takes:
            raise _refused(node, f"the test {node.name} takes {' or '.join(takes)}, no {kind}")
    elif type(node.node) is not nodes.Name or node.node.name.startswith("_"):
        raise _refused(node, f"the test {node.name} takes a name")
    return node, "truth"


def _getattr(node: nodes.Getattr, names: _Names) -> _Typed:
    owner = node.node
    if type(owner) is nodes.Name and names.get(owner.name) == "loop" and node.attr in LOOP_FIELDS:
        return node, LOOP_FIELDS[node.attr]
    raise _refused(
        node,
        f"the attribute {node.attr!r} is unsafe: only loop has some, " + ", ".join(LOOP_FIELDS),
    )


def _getitem(node: nodes.Getitem, names: _Names) -> _Typed:
    node.node, kind = _expression(node.node, names)
    if kind not in ("text", "lines"):
        raise _refused(node, "only lines and texts have parts")
    if type(node.arg) is not nodes.Slice:
        _place(node.arg)
        return node, "text"
    for place in (node.arg.start, node.arg.stop, node.arg.step):
        if place is not None:
            _place(place)
    if kind == "text":
        return node, kind
    return _with_work(node, COUNTED, [nodes.Const(1)]), kind


def _place(node: nodes.Expr) -> None:
    """Refuse a place in a list or text that is not written out as a whole number."""
    number = node.node if type(node) is nodes.Neg else node
    value = number.value if type(number) is nodes.Const else None
    if type(value) is not int or value > MOST_INTEGER:
        raise _refused(node, "a place in brackets is unsafe but as a whole number, such as 0 or -1")


def _compare(node: nodes.Compare, names: _Names) -> _Typed:
    node.expr, kind = _expression(node.expr, names)
    _single(node, kind)
    for operand in node.ops:
        within = operand.op in ("in", "notin")
        expression, kind = _expression(operand.expr, names)
        if within and kind == "lines":
            expression = _with_work(expression, COUNTED, [nodes.Const(1)])
        elif not (within and kind == "joined"):
            _single(node, kind)
        operand.expr = expression
    return node, "truth"


def _single(node: nodes.Node, kind: Kind) -> None:
    if kind not in ("text", "number", "truth"):
        raise _refused(node, "only single texts and numbers are held against each other")


def _and_or(node: nodes.And | nodes.Or, names: _Names) -> _Typed:
    node.left, left = _expression(node.left, names)
    node.right, right = _expression(node.right, names)
    if "loop" in (left, right):
        raise _refused(node, "loop is neither true nor false; one of its fields is meant")
    return node, left if left == right else "truth"


def _not(node: nodes.Not, names: _Names) -> _Typed:
    node.node = _condition(node.node, names)
    return node, "truth"


def _either(node: nodes.CondExpr, names: _Names) -> _Typed:
    node.test = _condition(node.test, names)
    node.expr1, kind = _expression(node.expr1, names)
    if node.expr2 is None:
        raise _refused(node, "here stands an if without an else: what is laid out otherwise?")
    node.expr2, other = _expression(node.expr2, names)
    if {kind, other} == {"text", "joined"}:
        return node, "joined"
    if kind != other:
        raise _refused(node, f"here stands either {kind} or {other}: both must be of one kind")
    return node, kind


_EXPRESSIONS: Mapping[type[nodes.Node], Callable[[Any, _Names], _Typed]] = {
    nodes.Name: _name,
    nodes.Const: _const,
    nodes.List: _constants,
    nodes.Tuple: _constants,
    nodes.Filter: _filter,
    nodes.Test: _test,
    nodes.Getattr: _getattr,
    nodes.Getitem: _getitem,
    nodes.Compare: _compare,
    nodes.And: _and_or,
    nodes.Or: _and_or,
    nodes.Not: _not,
    nodes.CondExpr: _either,
}
"""What an expression may be made of."""
