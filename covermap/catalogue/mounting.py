"""An antenna of the catalogue at a mount of the tier table: one more tier, which reception judges as any."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from covermap.catalogue.records import BEYOND, Antenna, Device
from covermap.constants import BANDS
from covermap.errors import InputError
from covermap.reception.chain import DIPLEXER_LOSS_DB
from covermap.reception.installations import without_amplifier
from covermap.reception.tiers import AntennaFigures, Tier, TierTable

# where an antenna may be put up -> the tier whose mount that is: its height, entry loss, cable and outlets
MOUNTS = {"shelf": 1, "window": 2, "loft": 3, "gable": 4, "rooftop": 5, "mast": 7}
# What an antenna without a gain in a band delivers there: as little as makes every chance 0.
NOT_SERVED = AntennaFigures(-300.0, 0.0, math.nan, 0.0)
STEP_MHZ = 1e-6  # from what an antenna still serves to what it does not
MIDDLE_MHZ = {"low_vhf": 71.0, "high_vhf": 195.0, "uhf": 580.0}  # 54-88, 174-216 and 470-690 MHz


def mount_of(tiers: TierTable, mount: str) -> Tier:
    """Return the tier that stands for a mount, a word of MOUNTS, without an amplifier.

    Raises InputError for another word.
    """
    if mount not in MOUNTS:
        raise InputError(f'A mount is one of {", ".join(MOUNTS)}, got "{mount}".')
    return without_amplifier(tiers[MOUNTS[mount]])


def as_tier(
    antenna: Antenna,
    mount: Tier,
    *,
    amplifier: Device | None = None,
    second: Antenna | None = None,
    diplexer: Device | None = None,
    turned_deg: Sequence[float] = (),
) -> Tier:
    """Return an antenna at a mount as a tier: same chain, pattern and confidence as the ladder of the map.

    Parameters
    ----------
    antenna : Antenna
        Its gains count by frequency; in a band it does not serve nothing is received.
    mount : Tier
        Whose height, entry loss, cable, outlets, number and costs hold; see mount_of.
    amplifier : Device, optional
        At the antenna; one that is built in needs none.
    second : Antenna, optional
        Another antenna for the bands in which its gain is greater, on the same cable. The plan
        "diplexed" may turn it to an azimuth of its own; its diplexer's loss is in every plan.
    diplexer : Device, optional
        What joins the two; without it the usual loss of a diplexer holds.
    turned_deg : sequence of float
        Azimuth to which each antenna is turned for good; NaN, or none given: each home aims it.

    Raises
    ------
    InputError
        If an amplifier has no gain or noise figure, or is named beside a built-in one.
    """
    antennas = [antenna] if second is None else [antenna, second]
    serving = {band: serving_of(antennas, band) for band in BANDS}
    turned = dict(zip((one.antenna_id for one in antennas), turned_deg, strict=False))
    middle = {band: _figures(serving[band], _middle_mhz(serving[band], band)) for band in BANDS}
    parts = [part.name for part in (antenna, second, amplifier) if part is not None]
    return replace(
        amplified(without_amplifier(mount), _amplifier_of(antennas, amplifier)),
        name=f"{' + '.join(parts)} ({mount.name})",
        source=antenna.source,
        cross_polar_db=mount.cross_polar_db if math.isnan(antenna.cross_polar_db) else antenna.cross_polar_db,
        by_frequency=tuple(point for band in BANDS for point in _points(serving[band], band)),
        # 0 dB is also how others tell that there is no second antenna
        diplexer_loss_db=0.0 if second is None else _diplexer_loss_db(diplexer),
        gain_dbd={band: figures.gain_dbd for band, figures in middle.items()},
        directivity_dbd={band: figures.directivity_dbd for band, figures in middle.items()},
        beamwidth_deg={band: figures.beamwidth_deg for band, figures in middle.items()},
        front_to_back_db={band: figures.front_to_back_db for band, figures in middle.items()},
        gain_sd_db={band: figures.gain_sd_db for band, figures in middle.items()},
        turned_deg={
            band: turned[one.antenna_id] for band, one in serving.items()
            if one is not None and not math.isnan(turned.get(one.antenna_id, math.nan))
        },
    )  # fmt: skip


def serving_of(antennas: list[Antenna], band: str) -> Antenna | None:
    """Return the antenna that a band comes from: the one with the most gain in its middle; None for none."""
    found = [antenna for antenna in antennas if antenna.serves(band)]
    return max(found, key=lambda one: _figures(one, _middle_mhz(one, band)).gain_dbd, default=None)


def _middle_mhz(antenna: Antenna | None, band: str) -> float:
    """Return the middle of the frequencies that an antenna has in a band, else of the band's channels."""
    mhz = _frequencies_mhz(antenna, band)
    return (mhz[0] + mhz[-1]) / 2.0 if mhz else MIDDLE_MHZ[band]


def _frequencies_mhz(antenna: Antenna | None, band: str) -> list[float]:
    gains = () if antenna is None else antenna.gains
    return [gain.frequency_mhz for gain in gains if gain.band == band and not math.isnan(gain.frequency_mhz)]


def _points(antenna: Antenna | None, band: str) -> list[tuple[float, AntennaFigures]]:
    """Return an antenna's figures at its frequencies in a band and at both sides of where they cease."""
    mhz = _frequencies_mhz(antenna, band)
    if not mhz:
        return []
    # Reception interpolates between points: a point just beyond either end, without gain, makes the edge a
    # step.
    first, last = mhz[0] * (1.0 - BEYOND), mhz[-1] * (1.0 + BEYOND)
    asked = [first - STEP_MHZ, first, *mhz, last, last + STEP_MHZ]
    return [(at_mhz, _figures(antenna, at_mhz)) for at_mhz in asked]


def _figures(antenna: Antenna | None, frequency_mhz: float) -> AntennaFigures:
    """Return what reception reads of an antenna; its directivity is its gain, but at least 0 dBd."""
    gain = None if antenna is None else antenna.gain_at(frequency_mhz)
    if antenna is None or gain is None:
        return NOT_SERVED
    typical_dbd = gain.gain_dbd.typical
    return AntennaFigures(
        typical_dbd - antenna.impedance_loss_db,
        # of the gain without the match: what is lost into the cable dims outside noise too, and is no pattern
        max(typical_dbd, 0.0),
        gain.beamwidth_deg,
        gain.front_to_back_db,
        gain.gain_dbd.sd,
    )


def _diplexer_loss_db(diplexer: Device | None) -> float:
    """Return the greater of a diplexer's losses; without one the usual loss."""
    losses = () if diplexer is None else (diplexer.loss_vhf_db, diplexer.loss_uhf_db)
    return max((loss.typical for loss in losses if loss is not None), default=DIPLEXER_LOSS_DB)


def _amplifier_of(antennas: list[Antenna], named: Device | None) -> Device | None:
    """Return the amplifier of an installation. Raises InputError for one beside a built-in one."""
    built_in = next((one for one in antennas if one.amplifier is not None), None)
    if built_in is not None and named is not None:
        raise InputError(
            f"{built_in.name} has an amplifier of its own, found {named.name} beside it. A second one behind "
            "it brings nothing. Leave one of them out."
        )
    return named if built_in is None else built_in.amplifier


def amplified(tier: Tier, amplifier: Device | None) -> Tier:
    """Return an installation with an amplifier at the antenna, None for none; unknown limits are no limits.

    Raises InputError for a device without gain and noise figure.
    """
    if amplifier is None:
        return tier
    if amplifier.gain_db is None or amplifier.noise_figure_db is None:
        raise InputError(
            f"{amplifier.name} ({amplifier.device_id}) is of the kind {amplifier.kind}, found no gain and "
            "noise figure. Name an amplifier."
        )
    limits = (amplifier.max_input_dbm, amplifier.max_output_dbm)
    input_dbm, output_dbm = (math.inf if limit is None else limit.typical for limit in limits)
    return replace(
        tier,
        amplifier_gain_db=amplifier.gain_db.typical,
        amplifier_noise_figure_db=amplifier.noise_figure_db.typical,
        amplifier_sd_db=amplifier.noise_figure_db.sd,
        amp_in_max_dbm=input_dbm,
        amp_out_max_dbm=output_dbm,
    )
