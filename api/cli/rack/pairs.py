"""Commands of pairs: `add`, `edit` and `delete`.

They fill in the forms of the pages, so that both accept the same and say the same.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from solespan.api.cli.files import PIPE
from solespan.api.cli.options import On, Pair, Whose, Yes, find_group
from solespan.api.cli.output import Format, Out, OutputFormat, say
from solespan.api.cli.rack.pair_forms import (
    OPTIONS,
    Iron,
    LimitMm,
    Material,
    Mm,
    day_of,
    do_step,
    filled,
    sole_of,
)

__all__ = ["register"]

Construction = Annotated[
    str | None, typer.Option("--construction", help="goodyear_welted, hand_welted, blake, ...")
]
DressCode = Annotated[
    str | None, typer.Option("--dress-code", help="formal, business, casual or outdoor.")
]
Size = Annotated[float | None, typer.Option("--size", help="European size.")]
Acquired = Annotated[str | None, typer.Option("--acquired", help="Day it was acquired.")]
Price = Annotated[float | None, typer.Option("--price", help="Price paid, in whole currency.")]
Currency = Annotated[str | None, typer.Option("--currency", help="ISO 4217 code, such as EUR.")]
Earlier = Annotated[
    int | None, typer.Option("--earlier-resoles", help="Resoles before the sole that is on it.")
]
Pace = Annotated[float | None, typer.Option("--wears-per-week", help="How often it is worn.")]
Upper = Annotated[str | None, typer.Option("--upper", help="Upper leather: calf, suede, ...")]
Notes = Annotated[str | None, typer.Option("--notes", help="Free text, up to 2,000 characters.")]
Maker = Annotated[str | None, typer.Option("--maker", help="Who made it.")]
Last = Annotated[str | None, typer.Option("--last", help="The last it was made on.")]
Colour = Annotated[str | None, typer.Option("--colour", help="Colour of the upper leather.")]
ShoeForm = Annotated[str | None, typer.Option("--shoe-form", help="oxford, derby, monk, boot, ...")]
Tags = Annotated[str | None, typer.Option("--tags", help="Words, separated by commas.")]
SizeUk = Annotated[float | None, typer.Option("--size-uk", help="British size.")]
SizeUs = Annotated[float | None, typer.Option("--size-us", help="American size.")]
Kind = Annotated[str | None, typer.Option("--kind", help="men, women, children or boots.")]
Name = Annotated[str | None, typer.Option("--name", help="What its owner calls it.")]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    add = find_group(app, "add", "Add a wearer, a pair or a new sole.")
    add.command("pair")(add_pair)
    add.command("sole")(add_sole)
    add.command("example")(add_example)
    add.command("photo")(add_photo)
    edit = find_group(app, "edit", "Change what is kept of a pair.")
    edit.command("pair")(edit_pair)
    delete = find_group(app, "delete", "Delete a pair, or the example.")
    delete.command("pair")(delete_pair)
    delete.command("example")(delete_example)
    delete.command("photo")(delete_photo)


def add_pair(
    name: Annotated[str, typer.Argument(help="What its owner calls it, such as brown derby.")],
    construction: Annotated[
        str, typer.Option("--construction", help="goodyear_welted, hand_welted, blake, ...")
    ],
    material: Annotated[
        str, typer.Option("--material", help="Of the sole: oak_bark_leather, rubber, ...")
    ],
    wearer: Whose = None,
    on: Annotated[
        str | None, typer.Option("--on", help="Day its sole was fitted. Default today.")
    ] = None,
    mm: Mm = None,
    iron: Iron = None,
    limit_mm: LimitMm = None,
    dress_code: DressCode = None,
    size: Size = None,
    acquired: Acquired = None,
    price: Price = None,
    currency: Currency = None,
    earlier_resoles: Earlier = None,
    wears_per_week: Pace = None,
    upper: Upper = None,
    notes: Notes = None,
    maker: Maker = None,
    last: Last = None,
    colour: Colour = None,
    shoe_form: ShoeForm = None,
    tags: Tags = None,
    size_uk: SizeUk = None,
    size_us: SizeUs = None,
    kind: Kind = None,
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """Add a pair with the sole that is on it."""
    from solespan.api.cli.messages import typed_options
    from solespan.api.cli.opening import serving
    from solespan.api.cli.planning.rack_tools import whose
    from solespan.api.cli.rack.records import show_records
    from solespan.api.services.rack import pair_forms, records

    typed = filled(
        label=name,
        construction=construction,
        dress_code=dress_code,
        size_eu=size,
        acquired_on=acquired,
        price=price,
        currency=currency,
        earlier_resoles=earlier_resoles,
        wears_per_week=wears_per_week,
        upper=upper,
        notes=notes,
        maker=maker,
        last=last,
        colour=colour,
        form=shoe_form,
        tags=tags,
        size_uk=size_uk,
        size_us=size_us,
        kind=kind,
        **sole_of(material, mm, iron, limit_mm),
    )
    with serving("add pair") as services:
        wearer_id = whose(services, wearer)
        with services.database.writing() as session, typed_options(OPTIONS):
            typed |= {"wearer": wearer_id, "fitted_on": day_of(services, session, on, wearer_id)}
            made = pair_forms.add_pair(services, session, typed)
            row = records.read(session, "pairs", {"pair_id": made["pair_id"]})
    show_records("pairs", [row], form, out, f"Added: {name}, pair {row['pair_id']}.")


def add_sole(
    pair: Pair,
    material: Annotated[
        str, typer.Option("--material", help="Of the sole: oak_bark_leather, rubber, ...")
    ],
    on: On = None,
    mm: Mm = None,
    iron: Iron = None,
    limit_mm: LimitMm = None,
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """Log that a new sole is on a pair; the one before ends that day."""
    from solespan.api.cli.rack.records import show_records
    from solespan.api.services.rack.sole_forms import fit_sole, sole_on

    typed = filled(**sole_of(material, mm, iron, limit_mm))

    def step(services: Any, session: Any, pair_id: str, day: str) -> Any:
        fit_sole(services, session, pair_id, typed | {"fitted_on": day})
        return pair_id, sole_on(session, pair_id)

    pair_id, sole = do_step("add sole", pair, on, step)
    show_records("soles", [sole], form, out, f"The new sole is on {pair_id}: {sole['sole_id']}.")


def add_example() -> None:
    """Add the example rack, which is invented."""
    from solespan.api.cli.opening import serving
    from solespan.api.services.importing import example_rack

    with serving("add example") as services:
        example_rack.add_example(services)
    say("The example rack is added; solespan delete example takes it away.")


def edit_pair(
    pair: Pair,
    name: Name = None,
    construction: Construction = None,
    material: Material = None,
    mm: Mm = None,
    iron: Iron = None,
    limit_mm: LimitMm = None,
    dress_code: DressCode = None,
    size: Size = None,
    acquired: Acquired = None,
    price: Price = None,
    currency: Currency = None,
    earlier_resoles: Earlier = None,
    wears_per_week: Pace = None,
    upper: Upper = None,
    notes: Notes = None,
    maker: Maker = None,
    last: Last = None,
    colour: Colour = None,
    shoe_form: ShoeForm = None,
    tags: Tags = None,
    size_uk: SizeUk = None,
    size_us: SizeUs = None,
    kind: Kind = None,
    on: Annotated[str | None, typer.Option("--on", help="Day its sole was fitted.")] = None,
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """Change a pair and the sole that is on it; what no option names stays."""
    from solespan.api.cli.messages import typed_options
    from solespan.api.cli.opening import serving
    from solespan.api.cli.rack.records import show_records
    from solespan.api.services.rack import pair_forms, records
    from solespan.api.services.rack.pair_names import pair_named

    given = filled(
        label=name,
        construction=construction,
        dress_code=dress_code,
        size_eu=size,
        acquired_on=acquired,
        price=price,
        currency=currency,
        earlier_resoles=earlier_resoles,
        wears_per_week=wears_per_week,
        upper=upper,
        notes=notes,
        maker=maker,
        last=last,
        colour=colour,
        form=shoe_form,
        tags=tags,
        size_uk=size_uk,
        size_us=size_us,
        kind=kind,
        fitted_on=on,
        **sole_of(material, mm, iron, limit_mm),
    )
    with serving("edit pair") as services, services.database.writing() as session:
        pair_id = pair_named(session, pair)
        with typed_options(OPTIONS):
            values = pair_forms.values_of_pair(session, pair_id) | given
            pair_forms.edit_pair(services, session, pair_id, values)
        row = records.read(session, "pairs", {"pair_id": pair_id})
    show_records("pairs", [row], form, out, f"The changes of {pair_id} are kept.")


def delete_pair(pair: Pair, yes: Yes = False) -> None:
    """Delete a pair and all that is logged of it; it can be restored for 30 days."""
    from solespan.api.cli.opening import serving
    from solespan.api.services.rack.pair_names import pair_named
    from solespan.api.services.rack.record_forms import delete_record, record_seen

    with serving("delete pair") as services:
        with services.database.reading() as session:
            pair_id = pair_named(session, pair)
        if not yes:
            typer.confirm(f"Delete {pair_id} and all that is logged of it?", abort=True)
        with services.database.writing() as session:
            key = {"pair_id": pair_id}
            version = str(record_seen(session, "pairs", key)["row"]["version"])
            delete_record(services, session, "pairs", key, {"sure": "true", "version": version})
    say(f"Deleted: {pair_id}. To bring it back within 30 days: solespan undo")


def delete_example() -> None:
    """Take the example rack away again; nothing else is touched."""
    from solespan.api.cli.opening import serving
    from solespan.api.services.importing import example_rack

    with serving("delete example") as services, services.database.writing() as session:
        there = example_rack.example_is_there(session)
        example_rack.remove_example(services, session)
    say("The example rack is taken away." if there else "The example rack is not here.")


def add_photo(
    pair: Pair, file: Annotated[Path, typer.Argument(help="A JPEG or PNG; - = from a pipe.")]
) -> None:
    """Keep a photograph of a pair, without its metadata."""
    from solespan.api.cli.files import read_file
    from solespan.api.cli.opening import serving
    from solespan.api.services.rack.pair_names import pair_named
    from solespan.api.services.rack.pictures.pair_photos import keep_photo

    content = read_file(file)
    with serving("add photo") as services, services.database.writing() as session:
        kept = keep_photo(session, pair_named(session, pair), content)
    say(f"Pair {kept['pair_id']}: the photograph {kept['photo_id']} is kept.")


def delete_photo(
    photo: Annotated[str, typer.Argument(help="The photograph's id, as its address shows it.")],
) -> None:
    """Take a photograph of a pair away."""
    from solespan.api.cli.opening import serving
    from solespan.api.services.rack.pictures.pair_photos import remove_photo

    with serving("delete photo") as services, services.database.writing() as session:
        pair_id = remove_photo(session, photo)
    say(f"Pair {pair_id}: the photograph is taken away.")
