"""Starting, moving and ending a load."""

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms

from lots.entries.brining import NOT_SALTED, Salting
from lots.forms.batch import batch_field, brine_weight
from lots.forms.fields import KeyField, MomentField, SeenField, WeightField
from lots.models.house import Establishment, Place
from lots.models.lot import BrineBatch, Lot
from lots.queries.batches import lengths
from lots.queries.house import say_weight


class PlaceChoice(forms.ModelChoiceField):
    """Places, each with a word on whether it holds a load now."""

    def label_from_instance(self, place: Place) -> str:
        holds = place.loads.filter(ends=None).exists()
        return f"{place.name} (holds a load now)" if holds else place.name


class StartLoadForm(forms.Form):
    """Lots put into a place; the step is chosen before, a weight says how much of each goes in."""

    def __init__(
        self,
        data: Any = None,
        *,
        house: Establishment,
        now_ms: int,
        places: Any,
        lots: list[tuple[Lot, int]],
        batches: Sequence[BrineBatch] | None = None,
        filtering: bool = False,
        **options: Any,
    ) -> None:
        super().__init__(data, **options)
        self.fields["place"] = PlaceChoice(places, label="Place", empty_label="choose")
        for lot, free in lots:
            field = WeightField(
                unit=house.weight_unit,
                label=f"Lot {lot.code}, {lot.species_name}",
                required=False,
                help_text=f"Free: {say_weight(free)}. Empty: stays out.",
            )
            self.fields[f"lot_{lot.pk}"] = field
        if batches is not None:
            said = lengths((lot for lot, _ in lots))
            self._add_salting(house, batches, filtering, said)
        self.fields["started_at"] = MomentField(zone=house.zone, now_ms=now_ms, label="Started")
        self.fields["late_reason"] = forms.CharField(
            label="Why entered late",
            required=False,
            max_length=190,
            help_text="Only if it began a while ago.",
        )
        self.fields["note"] = forms.CharField(label="Note", required=False, max_length=200)
        self.fields["client_key"] = KeyField()
        self.order_fields([name for name in self.fields if name not in ("seen", "already")])

    def _add_salting(
        self,
        house: Establishment,
        batches: Sequence[BrineBatch],
        filtering: bool,
        long_and_short: Mapping[str, str],
    ) -> None:
        """What is said of a brining or dry salting beside where and which fish."""
        self.fields["declared"] = forms.ChoiceField(
            label="How long is it to lie?",
            choices=list(long_and_short.items()),
            widget=forms.RadioSelect,
        )
        self.fields["brine_batch"] = batch_field(batches, required=False)
        self.fields["brine_g"] = brine_weight(house)
        self.fields["filtered"] = forms.BooleanField(
            label="The brine was filtered since its last load",
            required=False,
            widget=forms.CheckboxInput() if filtering else forms.HiddenInput(),
        )
        self.fields["seen"], self.fields["already"] = SeenField(), SeenField()

    def salting(self) -> Salting:
        """What was said of the brining; nothing where the step is another."""
        data = self.cleaned_data
        if "declared" not in self.fields:
            return NOT_SALTED
        return Salting(
            data["declared"],
            data["brine_batch"],
            data["brine_g"],
            data["filtered"],
            bool(data["already"]),
            data["already"] or data["seen"],
        )

    def beside(self, name: str) -> str:
        """The field that a refusal stands at: one of the lots as a whole stands at the first."""
        first = next((field for field in self.fields if field.startswith("lot_")), name)
        return first if name == "lots" else name


class MoveLoadForm(forms.Form):
    reason = forms.CharField(
        label="Reason",
        max_length=300,
        help_text="Such as: the fish was probed on the truck before it was put in.",
    )

    def __init__(
        self, data: Any = None, *, house: Establishment, now_ms: int, **options: Any
    ) -> None:
        super().__init__(data, **options)
        self.fields["started_at"] = MomentField(
            zone=house.zone,
            now_ms=now_ms,
            label="It really began",
            required=True,
            help_text="14:05, or 4 Mar 2026 14:05.",
        )


class EndLoadForm(forms.Form):
    def __init__(
        self,
        data: Any = None,
        *,
        house: Establishment,
        now_ms: int,
        correcting: bool,
        **options: Any,
    ) -> None:
        super().__init__(data, **options)
        self.fields["ended_at"] = MomentField(zone=house.zone, now_ms=now_ms, label="Ended")
        self.fields["late_reason"] = forms.CharField(
            label="Why entered late",
            required=False,
            max_length=300,
            help_text="Only if it ended a while ago.",
        )
        if correcting:
            self.fields["correct_because"] = forms.CharField(
                label="What was wrong with the first time", max_length=300
            )
        self.fields["note"] = forms.CharField(label="Note", required=False, max_length=400)
        self.fields["client_key"] = KeyField()


class ProbeLeftForm(forms.Form):
    reason = forms.CharField(label="Why it left", max_length=300)

    def __init__(
        self,
        data: Any = None,
        *,
        house: Establishment,
        now_ms: int,
        probes: list[str],
        **options: Any,
    ) -> None:
        super().__init__(data, **options)
        self.fields["probe"] = forms.ChoiceField(
            label="Which probe", choices=[(probe, probe) for probe in probes]
        )
        self.fields["observed_at"] = MomentField(zone=house.zone, now_ms=now_ms, label="When")


class NoteForm(forms.Form):
    """Words about a load, and when what they speak of was seen."""

    text = forms.CharField(label="Note", max_length=2000, widget=forms.Textarea(attrs={"rows": 4}))

    def __init__(
        self, data: Any = None, *, house: Establishment, now_ms: int, **options: Any
    ) -> None:
        super().__init__(data, **options)
        self.fields["observed_at"] = MomentField(zone=house.zone, now_ms=now_ms, label="When seen")
        self.fields["client_key"] = KeyField()
