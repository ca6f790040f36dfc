"""What the lot's salt rests on: batches, pieces, weights; and how the pack is to be kept."""

from fractions import Fraction

from lots.core.record import LotRecord
from lots.core.record_salt import (
    BatchCheckFacts,
    BatchFacts,
    BatchUseFacts,
    PackFacts,
    PartFacts,
    PieceSampleFacts,
    Reckoned,
    SentFacts,
    ThawFacts,
    WeightFacts,
)
from lots.core.units import MG_PER_G, MILLIONTHS, show_number
from lots.pdf.layout import MOMENT, NUMBER, Column, Row, Sheet, Struck
from lots.pdf.words import NONE, Shown, sentence

PLANNING = (
    "Figures that are reckoned from weights are planning figures: what a batch can give at the most. Only a "
    "laboratory’s result in the finished fish shows its salt and its nitrite."
)
DECLARED = {"short": "declared short", "long": "declared long", "": "not declared"}


def draw_salt(sheet: Sheet, record: LotRecord, shown: Shown) -> None:
    """Brine, cure and salt."""
    if not record.batches:
        sheet.text("No batch of brine or dry salt was entered for this lot.")
    else:
        sheet.text(PLANNING, grey=0.2)
    for one in record.batches:
        title = f"{'Dry salting' if one.method == 'dry salt' else 'Brine'} {one.code}"
        sheet.heading(title, f"batch {one.code}", 1, 120)
        _batch(sheet, one, shown)
    if record.salt:
        sheet.heading("The lot’s salt", "lot-salt", 1, 60)
        _reckoned(sheet, record.salt)


def _batch(sheet: Sheet, one: BatchFacts, shown: Shown) -> None:
    thrown = sentence(shown.moment(one.discarded_at), one.discarded_by, joint=" ")
    sheet.pairs([
        ("Made", f"{shown.moment(one.made_at)} {one.made_by}"),
        ("Entered", shown.moment(one.entered_at) if one.entered_at != one.made_at else ""),
        ("Temperature when made", shown.temperature(one.brine_temp) if one.temp_known else ""),
        ("Loads brined in it", str(one.loads_in_all) if one.loads_in_all else ""),
        ("Done with", f"{thrown}: {one.discarded_why}" if one.discarded_at else ""),
        ("Note", one.note),
    ])  # fmt: skip
    sheet.gap(3)
    columns = [
        Column("What went in", 30), Column("As entered", 22), Column("Weight", 16, right=True),
        Column("", 3), Column("Of it sodium nitrite", 29),
    ]  # fmt: skip
    sheet.table(columns, [_part(part) for part in one.parts])
    _reckoned(sheet, one.figures)
    _checks(sheet, one.checks, shown)
    for use in one.uses:
        _use(sheet, use, shown)


def _grams(mg: int) -> str:
    """In kilograms from one up, to the gram, else in grams to the milligram."""
    if mg >= MG_PER_G * MG_PER_G:
        return f"{show_number(Fraction(mg, MG_PER_G * MG_PER_G), 3)} kg"
    return f"{show_number(Fraction(mg, MG_PER_G), 3)} g"


def _part(part: PartFacts) -> Row:
    per = f" of {_grams(part.mg_per_measure)} each" if part.mg_per_measure else ""
    share = Fraction(part.nitrite_millionths * 100, MILLIONTHS)
    nitrite = ""
    if part.nitrite_millionths:
        of_it = Fraction(part.mg * part.nitrite_millionths, MILLIONTHS * MG_PER_G)
        nitrite = f"{show_number(share, 4)} %, {show_number(of_it, 3)} g"
    name = part.kind if part.name in ("", part.kind) else f"{part.kind}: {part.name}"
    return Row((name, f"{part.as_read} {part.unit}{per}", _grams(part.mg), "", nitrite))


def _reckoned(sheet: Sheet, figures: tuple[Reckoned, ...]) -> None:
    if not figures:
        return
    columns = [Column("Reckoned", 30), Column("Figure", 22), Column("From what", 48)]
    sheet.table(columns, [Row((one.name, one.figure or NONE, one.how)) for one in figures])


def _checks(sheet: Sheet, checks: tuple[BatchCheckFacts, ...], shown: Shown) -> None:
    if not checks:
        return
    columns = [
        NUMBER, Column("Strength read, by", MOMENT), Column("As read", 17),
        Column("Instrument and what it is made for", 29.9), Column("Corrected", 20),
    ]  # fmt: skip
    sheet.table(columns, [_check(one, shown) for one in checks])


def _check(one: BatchCheckFacts, shown: Shown) -> Row:
    made_for = sentence(one.reference, one.full_scale and f"100 is {one.full_scale}", joint=", ")
    read = sentence(one.as_read, one.brine and f"in brine of {one.brine}", joint="\n")
    late = one.entered_at != one.observed_at
    entered = f"Entered {shown.moment(one.entered_at)}." if late else ""
    below = sentence(
        f"Corrects no. {one.corrects}." if one.corrects else "",
        f"Corrected by no. {one.corrected_by}." if one.corrected_by else "",
        one.note and f"Note: {one.note}.",
        entered,
        joint=" ",
    )
    cells = (
        str(one.number), f"{shown.moment(one.observed_at)}\n{one.initials}",
        Struck(read, 1) if one.corrected_by else read,
        sentence(one.instrument or one.means, made_for, joint="\n"),
        Struck(one.found, 1) if one.corrected_by else one.found,
    )  # fmt: skip
    return Row(cells, below)


def _use(sheet: Sheet, use: BatchUseFacts, shown: Shown) -> None:
    poured = f"{shown.weight(use.brine_g)} of it on " if use.brine_g else ""
    sheet.gap(3)
    sheet.pairs([
        (f"Load {use.load}", f"{poured}{shown.weight(use.fish_g)} of fish; {DECLARED[use.declared]}"),
        ("Named late", use.named_late),
    ])  # fmt: skip
    _reckoned(sheet, use.figures)


def draw_pieces(sheet: Sheet, record: LotRecord, shown: Shown) -> None:
    """Pieces, weights and yield."""
    if not (record.pieces or record.weights or record.yields):
        sheet.text("None entered.")
        return
    if record.pieces:
        columns = [
            NUMBER, Column("Observed, by", MOMENT), Column("Pieces: thickness, weight", 34),
            Column("Of them", 32.9),
        ]  # fmt: skip
        sheet.table(columns, [_pieces(one, shown) for one in record.pieces])
    if record.weights:
        columns = [
            NUMBER, Column("Observed, by", MOMENT), Column("Stage", 34),
            Column("Weight", 32.9),
        ]  # fmt: skip
        sheet.table(columns, [_weight(one, shown) for one in record.weights])
    _reckoned(sheet, record.yields)


def _fixes(one: PieceSampleFacts | WeightFacts, shown: Shown) -> str:
    late = one.entered_at != one.observed_at
    return sentence(
        f"Corrects no. {one.corrects}." if one.corrects else "",
        f"Corrected by no. {one.corrected_by}." if one.corrected_by else "",
        one.reason and f"Why: {one.reason}.",
        one.note and f"Note: {one.note}.",
        f"Entered {shown.moment(one.entered_at)}." if late else "",
        joint=" ",
    )


def _pieces(one: PieceSampleFacts, shown: Shown) -> Row:
    each = "\n".join(sentence(p.thickness, p.weight, joint=", ") or NONE for p in one.pieces)
    of_them = "\n".join(f"{figure.name}: {figure.figure}" for figure in one.figures)
    where = sentence(f"load {one.load}" if one.load else "", one.instrument, joint=", ")
    cells = (
        str(one.number), f"{shown.moment(one.observed_at)}\n{one.initials}",
        Struck(each, len(one.pieces)) if one.corrected_by else each,
        sentence(of_them, where, joint="\n"),
    )  # fmt: skip
    return Row(cells, _fixes(one, shown))


def _weight(one: WeightFacts, shown: Shown) -> Row:
    stage = sentence(one.stage, f"load {one.load}" if one.load else "", joint=", ")
    figure = f"{one.as_read} {one.unit}"
    cells = (
        str(one.number), f"{shown.moment(one.observed_at)}\n{one.initials}", stage,
        Struck(figure) if one.corrected_by else figure,
    )  # fmt: skip
    return Row(cells, _fixes(one, shown))


def draw_sent(sheet: Sheet, record: LotRecord, shown: Shown) -> None:
    """Samples that went to a laboratory."""
    if not record.sent:
        return
    sheet.heading("Samples sent", "sent", 1, 50)
    columns = [
        NUMBER, Column("Sampled, by", MOMENT), Column("To be found", 24.7),
        Column("Laboratory, portion", 24), Column("Result", 18.2),
    ]  # fmt: skip
    sheet.table(columns, [_sent(one, shown) for one in record.sent])


def _sent(one: SentFacts, shown: Shown) -> Row:
    cells = (
        str(one.number), f"{shown.moment(one.sampled_at)}\n{one.initials}", ", ".join(one.wanted),
        sentence(one.laboratory, one.portion, joint="\n"), one.answered or "has not come",
    )  # fmt: skip
    return Row(cells, sentence(one.of, one.note and f"Note: {one.note}", joint=". "))


def draw_pack(sheet: Sheet, record: LotRecord, shown: Shown) -> None:
    """How the pack is to be kept and what must stand on it."""
    if not record.pack:
        sheet.text("Nothing is packed yet.")
    for one in record.pack:
        _pack(sheet, one, shown)


def _pack(sheet: Sheet, one: PackFacts, shown: Shown) -> None:
    sheet.pairs([
        ("To be kept", one.storage),
        ("Because", one.why),
        ("Statement on the pack", one.statement and f"“{one.statement}”"),
        ("Its source", one.statement_source),
        ("Allergens", ", ".join(one.allergens)),
        ("Ingredients and additives", ", ".join(one.additives)),
    ])  # fmt: skip
    _reckoned(sheet, one.use_by)
    if one.thawed:
        columns = [
            Column("Thawed, by", 25.6), Column("Quantity", 16), Column("Why", 58.4),
        ]  # fmt: skip
        sheet.table(columns, [_thawed(thaw, shown) for thaw in one.thawed])


def _thawed(one: ThawFacts, shown: Shown) -> Row:
    late = one.entered_at != one.at
    entered = f"Entered {shown.moment(one.entered_at)}." if late else ""
    cells = (f"{shown.moment(one.at)}\n{one.initials}", shown.weight(one.amount_g), one.reason)
    return Row(cells, entered)
