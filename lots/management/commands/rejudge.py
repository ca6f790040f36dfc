"""Lists what today's rules would say otherwise of judgements that people relied on; changes nothing."""

from argparse import ArgumentParser
from typing import Any
from zoneinfo import ZoneInfo

from django.core.management.base import BaseCommand, CommandError

from lots.core.limits import RULES, Verdict
from lots.core.moments import show_moment
from lots.models.lot import Lot
from lots.queries.house import establishment
from lots.queries.rejudge import Differs, rejudged


class Command(BaseCommand):
    help = (
        "List the kept judgements of which today's rules would say otherwise. Nothing is changed."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("lot", nargs="?", default="", help="a lot's code; without it every lot")
        parser.add_argument(
            "--all", action="store_true", help="also those kept under today's rules"
        )

    def handle(self, *_: Any, **options: Any) -> None:
        code = options["lot"]
        if code and not Lot.objects.filter(code=code).exists():
            raise CommandError(f"There is no lot {code}. Its code stands on the lots page.")
        found = rejudged(code, options["all"])
        for one in found.differing:
            self.stdout.write(self._words(one))
        verdicts = sum(one.verdict_differs for one in found.differing)
        self.stdout.write(
            f"Rules {RULES}. Judgements held again: {found.held}, with another verdict: {verdicts}, "
            f"with another figure alone: {len(found.differing) - verdicts}. Nothing was changed."
        )

    def _words(self, one: Differs) -> str:
        kept, house = one.kept, establishment()
        when = show_moment(kept.at, ZoneInfo(house.zone if house else "UTC"))
        then = f"{Verdict(kept.verdict).words} ({kept.figure}) under rules {kept.rules}"
        now = "not judged: the plan no longer names it"
        if one.now is not None:
            now = f"{one.now.verdict.words} ({one.now.finding.figure})"
            why = one.now.finding.why
            now += f", {why}" if why else ""
        return f"{kept.lot.code}, {kept.limit_id}, kept {when}: {then}; today {now}"
