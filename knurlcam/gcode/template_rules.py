"""What a dialect's template may hold: a short list of nodes, and what is asked of some.

No call, no arithmetic, no other file, no attribute but those of ``loop``: nothing by which a
template could reach for what it was not given, or grow a text.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

from jinja2 import TemplateAssertionError, nodes

from knurlcam.gcode.template_values import FILTERS, LOOP_FIELDS, TESTS, VARIABLES, WORK

__all__ = ["check_and_guard"]

MOST_DEPTH = 40
"""Nodes in nodes; each takes a level of Python's own stack, and of its indentation."""

MOST_LOOPS = 6
"""Loops in loops; Python compiles 20 blocks in blocks."""

MOST_INTEGER = 1_000_000
"""Whole number in a template, at most: it counts lines."""

_ALLOWED = frozenset(
    {
        *(nodes.Template, nodes.TemplateData, nodes.Output),
        *(nodes.If, nodes.For, nodes.Assign, nodes.With),
        *(nodes.Name, nodes.Const, nodes.List, nodes.Tuple, nodes.Getattr, nodes.Getitem),
        *(nodes.Filter, nodes.Test, nodes.Compare, nodes.Operand),
        *(nodes.And, nodes.Or, nodes.Not, nodes.CondExpr),
    }
)
"""Nodes of a template, all others are refused; those below are looked at more closely."""

_UNCHECKED: Mapping[type[nodes.Node], tuple[str, ...]] = {
    nodes.Getattr: ("node",),
    nodes.Getitem: ("arg",),
}
"""Fields that the check of their node has looked at to the end."""

_TAKEN = frozenset({"loop", "self", "super", "caller"})
"""Names that mean something to Jinja."""


def _refused(node: nodes.Node, what: str) -> TemplateAssertionError:
    return TemplateAssertionError(what, node.lineno)


def check_and_guard(tree: nodes.Template) -> None:
    """Refuse what a template must not hold, and put guards before what it works with.

    Raises:
        TemplateAssertionError: with the line of what it must not hold.
    """
    _check_depth(tree)
    _check(tree, 0)
    _guard(tree)


def _check_depth(tree: nodes.Template) -> None:
    level: list[nodes.Node] = [tree]
    for _ in range(MOST_DEPTH):
        level = [child for node in level for child in node.iter_child_nodes()]
    if level:
        raise _refused(level[0], "it is nested too deep")


def _check(node: nodes.Node, loops: int) -> None:
    """Refuse a node, or one below it, that has no place in a template of blocks."""
    kind = type(node)
    if kind not in _ALLOWED:
        raise _stranger(node)
    if loops > MOST_LOOPS:
        raise _refused(node, f"loops are nested more than {MOST_LOOPS} deep")
    if kind in _CHECKS:
        _CHECKS[kind](node)
    for child in node.iter_child_nodes(exclude=_UNCHECKED.get(kind, ())):
        _check(child, loops + (kind is nodes.For))


def _stranger(node: nodes.Node) -> TemplateAssertionError:
    if isinstance(node, (nodes.BinExpr, nodes.UnaryExpr, nodes.Concat)):
        sign = getattr(node, "operator", "~")
        return _refused(node, f"a template cannot calculate: {sign} is not allowed")
    name = type(node).__name__.replace("Assign", "Set")  # as it is written
    what = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name).lower()
    return _refused(node, f"a template of blocks has no {what}")


def _check_name(node: nodes.Name) -> None:
    taken = node.name.startswith("_") or node.name in _TAKEN
    if node.ctx != "load":
        # Python takes several letters of other alphabets for one, and two names for one with it.
        if taken or not node.name.isascii():
            raise _refused(node, f"{node.name!r} is not allowed as the name of a variable")
    elif node.name == "loop":
        raise _refused(node, "loop cannot be used as a value, only its fields, such as loop.last")
    elif taken:
        raise _refused(node, f"{node.name!r} is undefined")


def _check_characters(node: nodes.TemplateData | nodes.Const) -> None:
    """Refuse characters that controls do not know: a terminal would obey them or show others."""
    text = node.data if isinstance(node, nodes.TemplateData) else node.value
    for c in text:
        if not (" " <= c <= "~" or c in "\n\t"):
            raise _refused(node, f"the character {c!a} is not allowed: controls do not know it")


def _check_constant(node: nodes.Const) -> None:
    value = node.value
    if type(value) is str:
        _check_characters(node)
    elif type(value) is not bool and not (type(value) is int and value <= MOST_INTEGER):
        raise _refused(node, "this constant is neither text nor a whole number")


def _check_list(node: nodes.List | nodes.Tuple) -> None:
    if not all(type(item) is nodes.Const for item in node.items):
        raise _refused(node, "a list may hold constants only")


def _check_single_names(node: nodes.For | nodes.Assign | nodes.With) -> None:
    targets = node.targets if isinstance(node, nodes.With) else [node.target]
    if not all(type(target) is nodes.Name for target in targets):
        raise _refused(node, "only a single variable can be set")


def _check_for(node: nodes.For) -> None:
    if node.recursive:
        raise _refused(node, "recursive loops are not allowed")
    _check_single_names(node)


def _check_filter(node: nodes.Filter) -> None:
    if node.name not in FILTERS or node.node is None:
        raise _refused(node, f"No filter named {node.name!r}; known: {', '.join(FILTERS)}")
    constants = all(type(a) is nodes.Const and type(a.value) is str for a in node.args)
    named = node.kwargs or node.dyn_args is not None or node.dyn_kwargs is not None
    if named or not constants or len(node.args) > (node.name == "join"):
        takes = "one text" if node.name == "join" else "no text"
        raise _refused(node, f"the filter {node.name} takes {takes} in parentheses")


def _check_test(node: nodes.Test) -> None:
    if node.name not in TESTS or node.args or node.kwargs or node.dyn_args or node.dyn_kwargs:
        known = ", ".join(TESTS)
        raise _refused(node, f"No test named {node.name!r} without arguments; known: {known}")


def _check_attribute(node: nodes.Getattr) -> None:
    of_loop = type(node.node) is nodes.Name and node.node.name == "loop"
    if not of_loop or node.attr not in LOOP_FIELDS:
        fields = ", ".join(sorted(LOOP_FIELDS))
        raise _refused(
            node,
            f"the attribute {node.attr!r} is unsafe: only those of loop are allowed ({fields})",
        )


def _check_places(node: nodes.Getitem) -> None:
    """Refuse a place in brackets that is not written out as whole numbers."""
    arg = node.arg
    places = (arg.start, arg.stop, arg.step) if type(arg) is nodes.Slice else (arg,)
    for place in places:
        number = place.node if type(place) is nodes.Neg else place
        value = number.value if type(number) is nodes.Const else None
        if place is not None and not (type(value) is int and value <= MOST_INTEGER):
            raise _refused(node, "an index is unsafe unless it is a whole number, such as 0 or -1")


def _check_either(node: nodes.CondExpr) -> None:
    if node.expr2 is None:
        raise _refused(node, "an if expression needs an else")


_CHECKS: Mapping[type[nodes.Node], Callable[[Any], None]] = {
    nodes.TemplateData: _check_characters,
    nodes.For: _check_for,
    nodes.Assign: _check_single_names,
    nodes.With: _check_single_names,
    nodes.Name: _check_name,
    nodes.Const: _check_constant,
    nodes.List: _check_list,
    nodes.Tuple: _check_list,
    nodes.Getattr: _check_attribute,
    nodes.Getitem: _check_places,
    nodes.Filter: _check_filter,
    nodes.Test: _check_test,
    nodes.CondExpr: _check_either,
}


# -- guards ------------------------------------------------------------------


def _guard(tree: nodes.Template) -> None:
    texts = _names_of_texts(tree)
    for output in list(tree.find_all(nodes.Output)):
        output.nodes = [_shown(child, texts) for child in output.nodes]
    for kind, guard in _GUARDED.items():
        for node in list(tree.find_all(kind)):
            guard(node)


def _names_of_texts(tree: nodes.Template) -> set[str]:
    """Return the names that stand for a line or a text wherever they stand for anything.

    Nearly all that is laid out is such a name: a guard before each would take a tenth of the
    time of writing.
    """
    given = {name for name, kind in VARIABLES.items() if kind == "text"}
    lines = VARIABLES.keys() - given
    looped = {name for loop in tree.find_all(nodes.For) for name in _names_in(loop.target)}
    kept = {name for node in tree.find_all(nodes.Assign) for name in _names_in(node.target)}
    kept |= {name for node in tree.find_all(nodes.With) for name in _names_in(*node.targets)}
    return (given | looped) - lines - kept


def _names_in(*targets: nodes.Node) -> set[str]:
    return {target.name for target in targets if isinstance(target, nodes.Name)}


def _shown(child: nodes.Expr, texts: set[str]) -> nodes.Expr:
    if type(child) is nodes.TemplateData or (type(child) is nodes.Name and child.name in texts):
        return child
    return _guarded(child, "shown")


def _guard_for(node: nodes.For) -> None:
    node.iter = _guarded(node.iter, "gone_through", _steps_of(node))


def _guard_assign(node: nodes.Assign) -> None:
    node.node = _guarded(node.node, "kept", _kind_of(node.target))


def _guard_with(node: nodes.With) -> None:
    pairs = zip(node.targets, node.values, strict=True)
    node.values = [_guarded(value, "kept", _kind_of(target)) for target, value in pairs]


def _guard_slice(node: nodes.Getitem) -> None:
    if type(node.arg) is nodes.Slice:
        node.node = _guarded(node.node, "looked_through")


def _guard_compare(node: nodes.Compare) -> None:
    node.expr = _guarded(node.expr, "single")
    for operand in node.ops:
        within = operand.op in ("in", "notin")
        operand.expr = _guarded(operand.expr, "looked_through" if within else "single")


def _guard_join(node: nodes.Filter) -> None:
    if node.name == "join":
        node.args.insert(0, nodes.Name(WORK, "load", lineno=node.lineno))


_GUARDED: Mapping[type[nodes.Node], Callable[[Any], None]] = {
    nodes.For: _guard_for,
    nodes.Assign: _guard_assign,
    nodes.With: _guard_with,
    nodes.Getitem: _guard_slice,
    nodes.Compare: _guard_compare,
    nodes.Filter: _guard_join,
}


def _guarded(node: nodes.Node, guard: str, *constants: object) -> nodes.Expr:
    """Return an expression with a guard around it, which is given the count of the work."""
    line = node.lineno
    work = nodes.Name(WORK, "load", lineno=line)
    return nodes.Filter(
        node, guard, [work, *map(nodes.Const, constants)], [], None, None, lineno=line
    )


def _steps_of(loop: nodes.For) -> int:
    """Return how much work a line is in a loop: nodes, and long constants for more than one."""
    parts = [*loop.body, loop.test] if loop.test else loop.body
    found = [node for part in parts for node in (part, *part.find_all(nodes.Node))]
    texts = [node.value for node in found if type(node) is nodes.Const]
    return 1 + len(found) + sum(len(text) // 64 for text in texts if type(text) is str)


def _kind_of(target: nodes.Node) -> str:
    """Return what a name stands for already: what a template is given keeps its kind."""
    return VARIABLES.get(target.name, "any") if isinstance(target, nodes.Name) else "any"
