"""What covermap raises: one root, one class for wrong input."""


class CovermapError(Exception):
    """Anything covermap reports to its user on purpose."""


class InputError(CovermapError, ValueError):
    """The input is wrong: the message says where, what was found, what would be right, what to do."""
