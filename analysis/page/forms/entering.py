"""The way of a form into the book: once, in one transaction, by the rules of every writer.

What cannot be entered is shown again as it was typed, with what is wrong beside the field.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from fastapi import Request
from starlette.responses import RedirectResponse, Response

from analysis import moments
from analysis.change_words import when
from analysis.entering import desk
from analysis.page.forms.form import Form, mark_of
from analysis.page.forms.typed import Typed
from analysis.page.looking import Looking, writing
from collector.book.doubts import Doubt
from collector.book.records import Record
from collector.book.sent import Sent
from config.errors import BadEntry, StoreFault, Unusable

Again = Callable[[Form], Response]
"""Shows a form again."""
NOT_WHOLE = "The form did not come back whole. Look it over and save it again."


class Faulty(Unusable):
    """Fields that cannot be read; they are with what was typed."""


class Desk(desk.Desk):
    """For one form: asks by showing the form again, and takes yes for the doubts it showed.

    `names` are the fields of the form for columns that are called otherwise there.
    """

    def __init__(self, home: Looking, typed: Typed, names: Mapping[str, str]) -> None:
        super().__init__(home.book, home.settings, home.now_ms)
        self._typed = typed
        self._names = names
        self._wondered: list[Doubt] = []

    def moment(self, text: str, name: str, *, day_alone: bool = False) -> int:
        """A moment; of one that came twice it is asked which."""
        found = moments.moment(text, self.settings.zone, self.now_ms, name, day_alone=day_alone)
        if found.twice and found.said is not None:
            self.wonder(Doubt(name, found.said))
        return found.at_ms

    def wonder(self, doubt: Doubt) -> None:
        """Ask this as well before anything is entered."""
        self._wondered.append(doubt)

    def readable(self) -> None:
        """Go no further where a field could not be read. Raises Faulty."""
        if self._typed.faults:
            raise Faulty("; ".join(f"{name}: {why}" for name, why in self._typed.faults.items()))

    def ask(self, found: Sequence[Doubt]) -> None:
        """Raise Doubted, unless yes was said to these very doubts."""
        named = [Doubt(self._names.get(one.field, one.field), one.why) for one in found]
        if mark_of(named) != self._typed.sure:
            raise desk.Doubted(named)

    def enter(
        self, *records: Record, instead_of: Sequence[Record] = (), more: Sequence[Doubt] = ()
    ) -> list[Record]:
        """As at every desk, with what was wondered at."""
        return super().enter(*records, instead_of=instead_of, more=[*more, *self._wondered])


def enter(
    request: Request,
    typed: Typed,
    work: Callable[[Desk], object],
    again: Again,
    names: Mapping[str, str] | None = None,
) -> Response:
    """Enter a form once and lead to what was entered; or show it `again`, nothing entered."""
    key, names = typed.key, names or {}
    if key is None:
        return again(Form(typed.fields, general=NOT_WHOLE, status=422))
    try:
        with writing(request) as home:
            it = Desk(home, typed, names)
            sent = home.book.once(key, typed.digest, lambda: work(it))
    except (Unusable, StoreFault) as fault:
        return again(_refused(fault, typed, names))
    if sent.digest != typed.digest:
        return again(Form(typed.fields, general=_entered_already(sent, home), status=409))
    if sent.entry is None:
        return again(Form(typed.fields, said="The book says that already: nothing was changed."))
    return RedirectResponse(f"/written/{sent.entry}", status_code=303)


def _refused(fault: Unusable | StoreFault, typed: Typed, names: Mapping[str, str]) -> Form:
    """The form with what is wrong; everything that was typed stands in it."""
    match fault:
        case Faulty():
            return Form(typed.fields, faults=dict(typed.faults), status=422)
        case desk.Doubted():
            return Form(typed.fields, doubts=fault.found, status=422)
        case BadEntry():
            place = names.get(fault.field, fault.field)
            if place in typed.fields:
                return Form(typed.fields, faults={place: fault.why}, status=422)
            text = f"{place}: {fault.why}" if place else fault.why
            return Form(typed.fields, general=text, status=422)
        case StoreFault():
            return Form(typed.fields, general=f"Nothing was entered: {fault}", status=503)
        case _:
            return Form(typed.fields, general=str(fault), status=422)


def _entered_already(sent: Sent, home: Looking) -> str:
    at = when(sent.at_ms, home.settings, home.now_ms)
    return (
        f"This form was entered already, at {at}; what it says now was not. To enter that as "
        "well, save it once more."
    )
