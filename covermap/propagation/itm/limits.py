"""Where the irregular terrain model doubts itself, and where it refuses: the published limits."""

from covermap.errors import InputError
from covermap.propagation.itm.path import ItmPath, smooth_horizon_m

# NTIA ITM 1.2.2: bits of the warning word, and what each says.
WARNINGS = {
    1: "tx_height_m is outside 1 to 1000 m.",
    2: "rx_height_m is outside 1 to 1000 m.",
    4: "frequency_mhz is outside 40 to 10000 MHz.",
    8: "the path is longer than 1000 km.",
    16: "the path is longer than 2000 km: the answer is likely invalid.",
    32: "the path is short for the difference of the effective heights: the answer is likely invalid.",
    64: "the path is shorter than 1 km.",
    128: "the horizon seen from the transmitter stands more than 0.2 rad from the horizontal.",
    256: "the horizon seen from the receiver stands more than 0.2 rad from the horizontal.",
    512: "the transmitter's horizon is nearer than a tenth of the smooth-earth horizon.",
    1024: "the receiver's horizon is nearer than a tenth of the smooth-earth horizon.",
    2048: "the transmitter's horizon is farther than three times the smooth-earth horizon.",
    4096: "the receiver's horizon is farther than three times the smooth-earth horizon.",
    8192: "a percentage lies so far out (beyond 0.1 or 99.9 %) that variability is a guess.",
    16384: "the refractivity at the surface is under 250 N-units.",
}
EXTREME_DEVIATE = 3.10


class ItmRefusal(InputError):
    """The irregular terrain model gives no answer; code is its published error number."""

    def __init__(self, code: int, message: str) -> None:
        super().__init__(f"{message} (error {code} of ITM)")
        self.code = code


def refuse_unless(good: bool, code: int, message: str) -> None:
    """Raise ItmRefusal with the published error code unless good."""
    if not good:
        raise ItmRefusal(code, message)


def refuse_path(path: ItmPath, impedance: complex) -> None:
    """Raise ItmRefusal when a figure worked out on the way lies where the model has no answer."""
    refractivity, radius_m = path.refractivity, path.earth_radius_m
    refuse_unless(
        refractivity >= 150.0,
        1021,
        f"the refractivity at the surface comes to {refractivity:.0f} N-units, under 150: the ground is too "
        "high for n0.",
    )
    refuse_unless(
        refractivity <= 400.0,
        1022,
        f"the refractivity at the surface comes to {refractivity:.0f} N-units, over 400.",
    )
    refuse_unless(
        4e6 <= radius_m <= 13333333.0,
        1016,
        f"the effective earth radius comes to {radius_m / 1000.0:.0f} km, outside 4000 to 13333 km.",
    )
    refuse_unless(
        impedance.real > abs(impedance.imag),
        1013,
        f"the ground's impedance comes to {impedance:.3f}, more reactive than resistive: look at "
        "permittivity and conductivity_s_m.",
    )


def warning_bits(path: ItmPath, frequency_mhz: float, deviates: tuple[float, float, float]) -> int:
    """Return the model's word of warnings, a sum of the keys of WARNINGS.

    deviates : standard normal deviates of time, places and situations.
    """
    bits = 0
    for height_m, bit in ((path.tx_height_m, 1), (path.rx_height_m, 2)):
        bits |= 0 if 1.0 <= height_m <= 1000.0 else bit
    bits |= 0 if 40.0 <= frequency_mhz <= 10000.0 else 4
    bits |= 8 if path.length_m > 1000e3 else 0
    bits |= 16 if path.length_m > 2000e3 else 0
    bits |= 32 if path.length_m < abs(path.tx_effective_m - path.rx_effective_m) / 0.2 else 0
    bits |= 64 if path.length_m < 1e3 else 0
    ends = (
        (path.tx_effective_m, path.tx_horizon_m, path.tx_horizon_rad, 128),
        (path.rx_effective_m, path.rx_horizon_m, path.rx_horizon_rad, 256),
    )
    for effective_m, horizon_m, horizon_rad, bit in ends:
        smooth_m = smooth_horizon_m(effective_m, path.earth_radius_m)
        bits |= bit if abs(horizon_rad) > 0.2 else 0
        bits |= 4 * bit if horizon_m < 0.1 * smooth_m else 0
        bits |= 16 * bit if horizon_m > 3.0 * smooth_m else 0
    bits |= 8192 if max(abs(deviate) for deviate in deviates) > EXTREME_DEVIATE else 0
    bits |= 16384 if path.refractivity < 250.0 else 0
    return bits


def warning_sentences(bits: int) -> tuple[str, ...]:
    """Return a sentence for each bit of a word of warnings."""
    return tuple(sentence for bit, sentence in WARNINGS.items() if bits & bit)
