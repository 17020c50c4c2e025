"""What a restart keeps although the command line says otherwise: recipe and charge of a cycle begun from the desk."""

from __future__ import annotations

from pathlib import Path

from controller.runtime.session import Session


def kept(asked: Session, in_force: Session, out: Path) -> str:
    """That the cycle in the record keeps its recipe and charge, and how to begin anew; "" when they are those asked
    for."""
    if _charge(asked) == _charge(in_force):
        return ""
    own, other = _words(in_force), _words(asked)
    return (
        f"dewhold: the cycle in {out} keeps what it was started with at the desk, {own}; {other} of this command is"
        f" not taken. To begin anew: dewhold order stop --out {out} while it is in progress, then reset, then start"
        " with recipe= and load_t=; or give another --out"
    )


def _charge(session: Session) -> tuple[object, ...]:
    asked = session.asked
    files = session.bundle.files
    return (files["recipe"].sha256, files["mix"].sha256, asked.load_t, asked.mix_degC, asked.age_h, asked.empty_bays)


def _words(session: Session) -> str:
    asked, bundle = session.asked, session.bundle
    return f"recipe {bundle.recipe.name}, {asked.load_t:g} t of mix {bundle.mix.name} at {asked.mix_degC:g} degC"
