"""What stands in every help text: how far to trust a prediction."""

CAUTIONS = (
    "This is a prediction, not a measurement; at one place it is typically 6 to 10 dB out.",
    "Results are as old as the list of stations they were made from.",
    "Terrain is as good as the elevation data; a square of the map is not a house.",
    "Trees and buildings count as far as land cover or the elevation hold them; each result says how.",
    "Indoor results vary most.",
    "Try a test antenna before buying a mast.",
    "Work on roofs, raising masts, work near power lines, lightning protection and earthing are for "
    "a competent person under local rules.",
    "A relay needs a licence.",
    "Weak reception here is no proof of a fault at a station.",
)


def help_text(what, notes=(), picture=""):
    """Return a help text: what an algorithm does, a picture, notes, then every caution."""
    shown = [f'<img src="{picture}" width="230">'] if picture else []
    paragraphs = [what, *shown, *notes, "<b>Before you act on it</b>", *CAUTIONS]
    return "".join(f"<p>{text}</p>" for text in paragraphs)
