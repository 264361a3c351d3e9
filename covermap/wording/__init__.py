"""wording: how numbers, classes, causes and verdicts are said and painted. Outputs take their words here."""
