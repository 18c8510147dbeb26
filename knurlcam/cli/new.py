"""``knurlcam new``: a job file to start from, asked for in the terminal or given by options."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from knurlcam.cli.options import ShopFile
from knurlcam.cli.output import complain, errors_reported, review_hint
from knurlcam.errors import CannotBeDoneError, InputError, SeveralInputsError

if TYPE_CHECKING:
    from knurlcam.job.starter import Question
    from knurlcam.shop.fill import Shop

__all__ = ["new"]


def new(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="Job file to make.", show_default=False)
    ],
    given: Annotated[
        list[str] | None,
        typer.Option(
            "--set",
            metavar="KEY=VALUE",
            help='An answer, such as --set knurl.callout="DIN 82 RGE 1.0"; the rest is asked.',
        ),
    ] = None,
    shop: ShopFile = None,
) -> None:
    """A job file to start from: what cannot be recommended is asked, with examples.

    The file has a comment for each key, and plans at once.
    """
    with errors_reported():
        from knurlcam.files import place_to_write, write_whole
        from knurlcam.job.starter import job_text
        from knurlcam.shop.fill import find_shop

        if place_to_write(file).exists():
            raise InputError(
                "exists already",
                where=str(file),
                expected="a new file",
                remedy="choose another name, or edit that file",
            )
        answers = _given(given or [])
        kept = find_shop(file, shop)
        _ask(answers, kept)
        _ask_until_it_plans(answers, kept)
        write_whole(file, job_text(answers))
        print(f"{file}: written, and it plans\n{review_hint(file)}", file=sys.stderr)


def _given(options: list[str]) -> dict[str, str]:
    from knurlcam.job.starter import NAMED_BY_A_SHOP, known_key

    answers = {}
    for option in options:
        key, sign, value = option.partition("=")
        if not sign or not value.strip():
            raise InputError(
                "is not KEY=VALUE", key="--set", value=option, expected="such as knurl.length=20"
            )
        name = key.strip()
        answers[name if name in NAMED_BY_A_SHOP else known_key(name).key] = value.strip()
    return answers


def _ask(answers: dict[str, str], shop: Shop | None) -> None:
    """Ask what is not given, in the order of the questions."""
    from knurlcam.job.starter import QUESTIONS, problem_with, shop_question

    kept = {"tool": shop.tools, "machine": shop.machines} if shop is not None else {}
    for question in QUESTIONS:
        section = question.key.partition(".")[0]
        if question.key in answers:
            if (problem := problem_with(question.key, answers)) is not None:
                raise problem.at(key=f"--set {question.key}")
        elif question.applies(answers) and not kept.get(section) and section not in answers:
            _ask_one(question, answers)
    # Of several tools the shop's one that can do the job is taken; a machine is for a person.
    if len(kept.get("machine", ())) > 1 and "machine" not in answers:
        _ask_one(shop_question("machine", kept["machine"]), answers)


def _ask_one(question: Question, answers: dict[str, str]) -> None:
    from knurlcam.job.starter import problem_with

    while True:
        text = _line(question, answers)
        if not text and question.default is None:
            print("  An answer is needed here.", file=sys.stderr)
            continue
        tried = {**answers, question.key: text or question.default or ""}
        problem = problem_with(question.key, tried)
        if problem is None:
            answers[question.key] = tried[question.key]
            return
        print(f"  {problem.sentence()}", file=sys.stderr)


def _line(question: Question, answers: dict[str, str]) -> str:
    """Return what is typed; the question goes to standard error.

    Raises:
        InputError: where nobody answers: there is no terminal, or its input has ended.
    """
    nothing = f" [{question.default}]" if question.default else ""
    shown = (
        f"{question.ask}{_unit_of(question.key, answers)}, such as {question.example}{nothing}: "
    )
    print(shown, end="", file=sys.stderr, flush=True)
    try:
        line = sys.stdin.readline() if sys.stdin is not None else ""
    except OSError:  # such as that of a terminal that has gone
        line = ""
    if not line:
        print(file=sys.stderr)
        raise InputError(
            "is missing, and nobody answers",
            key=question.key,
            expected=f"{question.ask}, such as {question.example}",
            remedy=f'give it as --set {question.key}="{question.example}"',
        )
    return line.strip()


def _unit_of(key: str, answers: dict[str, str]) -> str:
    """Return in which unit a bare number is taken; nothing for what has none."""
    from knurlcam.job.starter import NAMED_BY_A_SHOP, known_key

    unit = None if key in NAMED_BY_A_SHOP else known_key(key).unit
    bare = unit is not None and "the job's units" in unit
    return f" [{answers.get('units') or 'mm'}]" if bare else ""


def _ask_until_it_plans(answers: dict[str, str], shop: Shop | None) -> None:
    """Ask again for what cannot be, or cannot be done, until it can.

    Raises:
        SeveralInputsError: where nothing is changed about what is not valid.
        CannotBeDoneError: where nothing is changed about what cannot be done.
    """
    while (wrong := _what_is_wrong(answers, shop)) is not None:
        before = dict(answers)
        complain(str(wrong))
        for key in _keys_to_change(wrong):
            try:
                _ask_one(_again(key, answers), answers)
            except InputError:  # nobody answers: what was wrong is what has to be said
                raise wrong from None
        if answers == before:
            raise wrong


def _what_is_wrong(
    answers: dict[str, str], shop: Shop | None
) -> SeveralInputsError | CannotBeDoneError | None:
    from knurlcam.job.model import Job
    from knurlcam.job.starter import job_of
    from knurlcam.plan.planner import make_plan

    try:
        make_plan(Job.build(job_of(answers), shop=shop))
    except (SeveralInputsError, CannotBeDoneError) as error:
        return error
    return None


def _keys_to_change(wrong: SeveralInputsError | CannotBeDoneError) -> list[str]:
    """Return the keys of a job that were named as wrong, in their order."""
    from knurlcam.job.keys import job_keys

    known = {key.key for key in job_keys()}
    if isinstance(wrong, CannotBeDoneError):
        named = [refusal.key for refusal in wrong.refusals]
    else:
        named = [problem.key or "" for problem in wrong.problems]
    return [key for key in dict.fromkeys(named) if key in known]


def _again(key: str, answers: dict[str, str]) -> Question:
    """Return the question for a key that has to change; no answer leaves it as it is."""
    from knurlcam.job.starter import QUESTIONS, Question, known_key

    asked = next((q for q in QUESTIONS if q.key == key), None)
    ask = asked.ask if asked else known_key(key).means
    example = asked.example if asked else "what the message says"
    return Question(key, f"{key}: {ask}", example, answers.get(key, ""))
