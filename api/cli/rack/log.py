"""Commands of the log: `wear`, `check`, `calibrate`, `undo` and `list changes`."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from solespan.api.cli.files import PIPE
from solespan.api.cli.options import MOST_LISTED, Limit, On, Pair, find_lists, read_day
from solespan.api.cli.output import Format, Out, OutputFormat, say, show_rows
from solespan.api.errors import Refused

__all__ = ["register"]

REPLACE = "--replace"
Replace = Annotated[bool, typer.Option(REPLACE, help="Take the place of what is logged already.")]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("wear")(wear)
    app.command("check")(check)
    app.command("calibrate")(calibrate)
    app.command("undo")(undo)
    find_lists(app).command("changes")(changes)


def wear(
    pair: Pair,
    on: On = None,
    hours: Annotated[
        float | None, typer.Option("--hours", help="Hours worn. Default: from the steps, else 8.")
    ] = None,
    wet: Annotated[bool, typer.Option("--wet", help="The ground was wet.")] = False,
    values: Annotated[
        list[str] | None,
        typer.Option(
            "--set",
            metavar="COLUMN=VALUE",
            help="Another column of wear_days.csv, such as surface=rough or steps=9000.",
        ),
    ] = None,
    replace: Replace = False,
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """Log that a pair was worn, today or on another day."""
    import pandas as pd

    from solespan.api.cli.messages import typed_options
    from solespan.api.cli.opening import serving
    from solespan.api.cli.rack.records import show_records
    from solespan.api.services.rack.log_forms import log_records, read_wear
    from solespan.dashboards.pages.rack.answers import moved_words

    typed = _columns(values or []) | ({"wet": "true"} if wet else {})
    if hours is not None:
        typed["hours"] = str(hours)
    with (
        serving(f"wear {REPLACE}" if replace else "wear") as services,
        services.database.writing() as session,
    ):
        pair_id, day = _meant(services, session, pair, on)
        with typed_options({"worn_on": "--on", "": ""}, replace=REPLACE):
            logged = read_wear(pair_id, typed | {"worn_on": day})
            done = log_records(services, session, "wear_days", [logged], replacing=replace)
        stored = _stored(session, "wear_days", [logged])
    said = "The wear is logged" if done["new"] else "That was logged already"
    moved = ""
    if "was" in done:
        days = pd.Timestamp(done["was"]), pd.Timestamp(done["now"])
        moved = f" {moved_words(*days, pd.Timestamp(services.clock.today()))}"
    show_records("wear_days", stored, form, out, f"{said}: {pair_id}, {day}.{moved}")


def check(
    pair: Pair,
    foot: Annotated[str, typer.Option("--foot", help="left, right or both.")],
    point: Annotated[str, typer.Option("--point", help="ball, toe, heel or waist.")] = "ball",
    thumb: Annotated[
        str | None, typer.Option("--thumb", help="Thumb grade: firm, give, soft or hole.")
    ] = None,
    mm: Annotated[float | None, typer.Option("--mm", help="Thickness in millimetres.")] = None,
    iron: Annotated[float | None, typer.Option("--iron", help="Thickness in irons.")] = None,
    lug: Annotated[
        float | None, typer.Option("--lug", help="Height of the lugs in it, in the same unit.")
    ] = None,
    method: Annotated[
        str | None,
        typer.Option("--method", help="Gauge: caliper, depth_gauge or ultrasonic."),
    ] = None,
    on: On = None,
    replace: Replace = False,
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """Log a check of the sole: a thumb grade, or a thickness with its gauge."""
    from solespan.api.cli.messages import typed_options
    from solespan.api.cli.opening import serving
    from solespan.api.cli.rack.records import show_records
    from solespan.api.services.rack.log_forms import log_records, read_reading, read_thumb
    from solespan.forecast.frames import FEET

    feet = FEET if foot == "both" else (foot,)
    if not set(feet) <= set(FEET):
        raise Refused(
            f"{foot!r} is no foot.",
            where="--foot",
            accepted=f"{', '.join(FEET)} or both",
            remedy="Choose one of these.",
        )
    if sum(value is not None for value in (thumb, mm, iron)) != 1:
        raise Refused(
            "A check has one result.",
            where="--thumb, --mm, --iron",
            accepted="exactly one of them",
            remedy="Write for example --thumb give, or --mm 4.2 --method caliper",
        )
    typed = {"point": point, "method": method or "", "unit": "mm" if iron is None else "iron"}
    typed |= {one: str(mm if iron is None else iron) for one in feet}
    typed |= {f"lug_{one}": "" if lug is None else str(lug) for one in feet}
    graded = {f"{one}-{point}": thumb or "" for one in feet}
    options = {"checked_on": "--on", "value_mm": "--mm", "grade": "--thumb", "": ""}
    options |= dict.fromkeys(graded, "--thumb") | dict.fromkeys(FEET, "--mm or --iron")
    options |= dict.fromkeys((f"lug_{one}" for one in FEET), "--lug")
    with serving("check") as services, services.database.writing() as session:
        pair_id, day = _meant(services, session, pair, on)
        with typed_options(options, replace=REPLACE):
            at = {"checked_on": day}
            read = read_reading if thumb is None else read_thumb
            logged = read(pair_id, (typed if thumb is None else graded) | at)
            done = log_records(services, session, "checks", logged, replacing=replace)
        stored = _stored(session, "checks", logged)
    said = "The check is logged" if done["new"] else "That was logged already"
    show_records("checks", stored, form, out, f"{said}: {pair_id}, {day}.")


def calibrate(
    pair: Pair,
    foot: Annotated[str, typer.Option("--foot", help="left or right.")],
    thumb: Annotated[str, typer.Option("--thumb", help="What the thumb felt: firm, give, soft.")],
    mm: Annotated[
        float | None,
        typer.Option("--mm", help="Thickness there, in millimetres. None: the sole is new."),
    ] = None,
    method: Annotated[
        str | None, typer.Option("--method", help="Gauge: caliper, depth_gauge or ultrasonic.")
    ] = None,
    on: On = None,
    sure: Annotated[
        bool, typer.Option("--sure", help="The grade is meant, odd as it is for the thickness.")
    ] = False,
    replace: Replace = False,
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """Teach your thumb: a grade and a thickness of the same spot of the ball, on the same day."""
    from solespan.api.cli.messages import typed_options
    from solespan.api.cli.opening import serving
    from solespan.api.cli.rack.records import show_records
    from solespan.api.services.rack.calibration import calibrate as log_calibration
    from solespan.dashboards.pages.rack.thumb import taught_words
    from solespan.forecast.frames import FEET

    if foot not in FEET:
        raise Refused(
            f"{foot!r} is no foot.", where="--foot", accepted=", ".join(FEET),
            remedy="Press one shoe at a time.",
        )  # fmt: skip
    typed = {f"{foot}-ball": thumb, foot: "" if mm is None else str(mm), "method": method or ""}
    typed["sure"] = "true" if sure else ""
    options = {"checked_on": "--on", "grade": "--thumb", f"{foot}-ball": "--thumb", foot: "--mm"}
    with serving("calibrate") as services, services.database.writing() as session:
        pair_id, day = _meant(services, session, pair, on)
        with typed_options(options | {"": ""}, replace=REPLACE):
            at = typed | {"checked_on": day}
            done = log_calibration(services, session, pair_id, at, replacing=replace)
        stored = _stored(session, "checks", done.checks)
    said = "The calibration is logged" if done.new else "That was logged already"
    told = taught_words(done.before, done.now)
    show_records("checks", stored, form, out, f"{said}: {pair_id}, {day}. {told}".strip())


def undo(
    revision: Annotated[
        str | None,
        typer.Argument(metavar="[CHANGE]", help="A change of solespan list changes."),
    ] = None,
) -> None:
    """Undo a change of the last 30 days: the one named, or the last that a command made."""
    from solespan.api.cli.opening import serving
    from solespan.api.services.rack import history
    from solespan.api.services.rack.last_change import undo_last, words_of_change

    with serving("undo") as services:
        with services.database.writing() as session:
            if revision is None:
                what = words_of_change(undo_last(services, session))
            else:
                history.undo(services, session, revision)
                what = f"change {revision}"
        services.refitter.wake(refit=True)
    say(f"Taken back: {what}.")


def changes(limit: Limit = MOST_LISTED, form: Format = OutputFormat.TABLE, out: Out = PIPE) -> None:
    """List the changes of the last 30 days, newest first; each can be undone."""
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.rack.revisions import RevisionPage
    from solespan.api.services.rack.history import list_changes

    with serving() as services, services.database.reading() as session:
        rows = list_changes(session, below_id=None, limit=limit + 1)
    shown = [
        row
        | {"parts": [{k: v for k, v in part.items() if k != "row"} for part in row["parts"]]}
        | {"records": sum(part["rows"] for part in row["parts"])}
        for row in rows
    ]
    columns = {"change": "revision_id", "at (UTC)": "at", "who": "actor", "how": "action"}
    columns |= {"records": "records", "undone (UTC)": "undone_at"}
    show_rows(
        RevisionPage, shown, columns, form=form, out=out, limit=limit, empty="No change is kept."
    )


def _columns(given: list[str]) -> dict[str, str]:
    from solespan.forecast.frames import TABLES

    known = [c.name for c in TABLES["wear_days"].stored if c.name not in TABLES["wear_days"].key]
    pairs = [(name.strip(), value.strip()) for name, _, value in (g.partition("=") for g in given)]
    for name, _ in pairs:
        if name not in known:
            raise Refused(
                f"{name!r} is no column of a wear day.",
                where="--set",
                accepted=f"COLUMN=VALUE with one of {', '.join(known)}",
                remedy="Write for example --set surface=rough",
            )
    return dict(pairs)


def _meant(services: Any, session: Any, pair: str, on: str | None) -> tuple[str, str]:
    """Return the id of the pair, and the day where its wearer lives."""
    from solespan.api.services.planning.rack import known_wearer
    from solespan.api.services.rack.pair_names import pair_named
    from solespan.api.services.rack.records import read

    pair_id = pair_named(session, pair)
    wearer_id = read(session, "pairs", {"pair_id": pair_id})["wearer_id"]
    zone = known_wearer(session, wearer_id)["time_zone"]
    return pair_id, read_day(on, services.clock.today(zone), past=True).isoformat()


def _stored(session: Any, name: str, every: list[dict[str, Any]]) -> list[dict[str, Any]]:
    from solespan.api.services.rack import records
    from solespan.forecast.frames import TABLES

    key = TABLES[name].key
    return [records.read(session, name, {column: one[column] for column in key}) for one in every]
