"""What the dock and its copy say of a place, from what a result answers. Pure Python."""

from html import escape

from .cautions import CAUTIONS

UNKNOWN = {
    "outside": "This place lies outside the map.",
    "unknown": "Nothing is known here: the elevation has a gap on the way to the masts.",
}


def lines_of(answer, wanted_list):
    """Return (heading, sentence) rows on a place; the first is the class."""
    if answer["status"] != "ok":
        return [("", UNKNOWN[answer["status"]])]
    rows = [
        ("Antenna needed", answer["tier_name"]),
        (f"All of list {wanted_list}", _chance(answer["chance_percent"], answer["chance_words"])),
        ("Aim", _aims(answer)),
        ("Decides", answer["deciding_service"]),
        ("Weakest", answer["limiting_service"]),
        ("Why it is hard", answer["main_cause"]),
        ("Masthead amplifier", answer["amplifier"]),
        ("Price of its parts", "" if answer["price"] is None else f"{answer['price']:,.0f}"),
        ("Remarks", "; ".join(answer["remarks"])),
        ("Services by class", ", ".join(f"{name}: {count}" for name, count in answer["services_by_class"])),
    ]
    return [row for row in rows if row[1]]


def as_html(answer, wanted_list):
    """Return the rows as a small page."""
    rows = lines_of(answer, wanted_list)
    first = f"<p style='font-size:large'><b>{escape(rows[0][1])}</b></p>"
    rest = "".join(
        f"<tr><td style='padding-right:8px'>{escape(heading)}</td><td>{escape(text)}</td></tr>"
        for heading, text in rows[1:]
    )
    return f"{first}<table>{rest}</table>"


def as_text(answer, wanted_list, where):
    """Return everything as text to paste, with the first caution."""
    lines = [
        where,
        *(f"{heading}: {text}" if heading else text for heading, text in lines_of(answer, wanted_list)),
    ]
    for service, chance, words, _, cause in answer.get("services", ()):
        lines.append(f"  {service}: {_chance(chance, words)}" + (f", {cause}" if cause else ""))
    return "\n".join([*lines, CAUTIONS[0]])


def _chance(percent, words):
    """Return a chance as people read it: in steps of 5 % between 10 and 90."""
    if percent is None:
        return ""
    told = (
        "under 10 %"
        if percent < 10
        else "better than 90 %"
        if percent > 90
        else f"about {5 * round(percent / 5)} %"
    )
    return f"{told}, {words}" if words else told


def all_around(answer):
    """Return whether the list holds in every direction."""
    return answer.get("aim_range_deg") == (0, 359)


def _aims(answer):
    aims, reach = answer["aims_deg_true"], answer["aim_range_deg"]
    if aims and all_around(answer):
        return "any direction"
    if not aims:
        return ""
    text = " and ".join(f"{aim:.0f}°" for aim in aims) + " from true north"
    if reach is not None and len(aims) == 1 and reach[0] >= 0:
        text += f"; {reach[0]}° to {reach[1]}° keep the list"
    return text
