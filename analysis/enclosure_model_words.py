"""What an enclosure is like, in sentences: first what matters, then the figures. Pure."""

from __future__ import annotations

from analysis.enclosure_model import EnclosureModel, Gap
from analysis.enclosure_reach import Hold
from analysis.heater_trend import LEAST_WEEKS, Heater, Trend
from analysis.words import (
    HOUR_MS,
    hours,
    local_time,
    plain,
    temperature,
    temperature_change,
    temperature_span,
)
from config.settings import Settings

ONLY_AN_ESTIMATE = "What happened in a gap is an estimate: no verdict counts it."
_GAPS_SHOWN = 3


def model_sentences(
    model: EnclosureModel, hold: Hold | None, floor_c: float, settings: Settings
) -> list[str]:
    """One enclosure in a few sentences."""
    name = plain(model.enclosure) or "Enclosure"
    if model.usual_c is None:
        return [f"{name}: nothing was heard of its warm side."]
    lines = [f"{name}: {_cooling(model, floor_c, settings)}"]
    lines.append(_reach(model, settings))
    if hold is not None:
        lines.append(hold_sentence(hold, settings))
    lines.append(_heater(model.heater, settings))
    lines += [_gap(gap, settings) for gap in model.gaps[-_GAPS_SHOWN:]]
    return lines + ([ONLY_AN_ESTIMATE] if model.gaps else [])


def hold_sentence(hold: Hold, settings: Settings) -> str:
    """The question, the answer, and what it rests on."""
    question = (
        f"Can it hold {temperature(hold.hold_c, settings)} if the room goes to "
        f"{temperature(hold.room_c, settings)}?"
    )
    if hold.need_k <= 0:
        return f"{question} Yes: that takes no heat."
    need = f"{temperature_change(hold.need_k, settings)} above the room"
    if hold.answer == "yes":
        return f"{question} Yes, by the records: it was held {need} {_days(hold.days)}."
    if hold.answer == "no":
        limit = temperature_change(hold.limit_k, settings)
        return f"{question} No: that takes {need}, and with its heater at its most it had {limit}."
    if hold.most_k is None:
        return f"{question} Not known: what it was held above its room was never recorded."
    most = temperature_change(hold.most_k, settings)
    return (
        f"{question} Not known: that takes {need}, and the most it was held over a day is {most}."
    )


def _cooling(model: EnclosureModel, floor_c: float, settings: Settings) -> str:
    one = model.time_constant
    if one is None:
        why = "" if model.room_known else ": no room probe was heard"
        return f"how fast it cools is not known{why or ': no fall without heat is in the records'}."
    falls = "1 fall" if one.falls == 1 else f"{one.falls} falls"
    text = (
        f"without heat, what it is above its room shrinks to 37 % in {one.tau_h:.1f} h "
        f"({one.low_h:.1f} to {one.high_h:.1f} h, from {falls})."
    )
    ahead = model.falls_to_floor_h(floor_c)
    if ahead is None or model.room_c is None or ahead[0] <= 0:
        return text
    return (
        f"{text} From {temperature(model.usual_c, settings)} in a room of "
        f"{temperature(model.room_c, settings)} it would be down to "
        f"{temperature(floor_c, settings)} after {_span(ahead[0])} "
        f"({_span(ahead[1])} to {_span(ahead[2])})."
    )


def _reach(model: EnclosureModel, settings: Settings) -> str:
    reach = model.reach
    if reach is None:
        return "How far above its room it can be held is not known."
    text = (
        f"It is usually {temperature_change(reach.usual_k, settings)} above its room; the most "
        f"held over a day is {temperature_change(reach.most_k, settings)}"
    )
    if reach.limit_k is None:
        return f"{text}, and its heater was never seen at its most."
    return f"{text}; at its most its heater gave {temperature_change(reach.limit_k, settings)}."


def _heater(heater: Heater, settings: Settings) -> str:
    if heater.warm_side is not None and heater.warm_side.sinking:
        return f"Its warm side sinks: {_degrees(heater.warm_side, settings)}. Look at it."
    if heater.strength is not None and heater.strength.sinking:
        one = heater.strength
        return (
            f"Its heater works harder for the same warm side: its strength falls by "
            f"{-one.per_30_days:.0f} % in 30 days ({-one.high:.0f} to {-one.low:.0f} %, over "
            f"{one.weeks} weeks). Look at it, and at the thermostat, before it fails."
        )
    if heater.strength is None and heater.warm_side is None:
        return f"Whether its heater weakens is not known: that takes {LEAST_WEEKS} weeks."
    if heater.strength is None:
        return "Its warm side does not sink; how hard its heater works is not known."
    return f"Nothing shows that its heater weakens (looked at {heater.strength.weeks} weeks)."


def _days(count: int) -> str:
    return "over a day" if count == 1 else f"over {count} days"


def _degrees(one: Trend, settings: Settings) -> str:
    change = temperature_change(one.per_30_days, settings)
    least = temperature_change(one.high, settings)
    most = temperature_change(one.low, settings)
    return f"by {change} in 30 days ({least} to {most}, over {one.weeks} weeks)"


def _gap(gap: Gap, settings: Settings) -> str:
    length = hours((gap.end_ms - gap.start_ms) / HOUR_MS)
    text = f"Nothing was heard for {length} from {local_time(gap.start_ms, settings.zone)}: "
    one = gap.estimate
    if one is None:
        return f"{text}what happened cannot be estimated."
    span = temperature_span(one.at_worst_c, one.at_best_c, settings)
    if one.how == "ends as usual":
        worst = temperature(one.at_worst_c, settings)
        return f"{text}it ends as usual; without heat it can have been down to {worst}."
    if one.low_c is None:
        return f"{text}it {one.how}, down to {span}."
    return f"{text}it probably {one.how}, down to {temperature(one.low_c, settings)} ({span})."


def _span(value_h: float) -> str:
    return f"{value_h:.1f} h" if value_h >= 2 else f"{value_h * 60:.0f} min"
