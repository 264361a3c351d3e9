"""From the predicted field to the field at a mount: lower height and building entry."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from covermap.errors import InputError
from covermap.propagation.compiling import kernel
from covermap.propagation.terminal import REFERENCE_HEIGHT_M, low_mount_loss_db
from covermap.reception.distinct import distinct_rows
from covermap.reception.entry import entry_db
from covermap.reception.tiers import Tier


@kernel
def clutter_top_m(clutter_height_m):
    """Return R, the height of the surroundings that counts at a receiver site, in m: at least 10.

    Source: ITU-R P.1812-8 table of clutter heights (suburban 10 m) as the least, our own rule.
    """
    return max(REFERENCE_HEIGHT_M, clutter_height_m)


@kernel
def mount_loss_db(frequency_mhz, height_m, entry_loss_db, clutter_height_m, open_land):
    """Return what a mount receives less than the field of the path that counts for it, in dB.

    height_m : of the mount; from 10 m upwards the path is computed at that height, below at 10 m
    clutter_height_m : of the land-cover class, 0 where none

    Source: ITU-R P.2108-1 section 3.1 below 10 m, then the tier's building entry; nothing else.
    Accuracy: as low_mount_loss_db.
    """
    return low_mount_loss_db(frequency_mhz / 1000.0, height_m, clutter_height_m, open_land) + entry_loss_db


@kernel
def _fill_mount_losses(frequency_mhz, heights_m, entry_loss_db, clutter_height_m, open_land, loss_db):
    """Fill loss_db (K, T, n): K kinds of surroundings, T mounts, n frequencies; entry_loss_db : (T, n)."""
    for kind in range(loss_db.shape[0]):
        for mount in range(loss_db.shape[1]):
            for item in range(loss_db.shape[2]):
                loss_db[kind, mount, item] = mount_loss_db(
                    frequency_mhz[item], heights_m[mount], entry_loss_db[mount, item],
                    clutter_height_m[kind], open_land[kind],
                )  # fmt: skip


def mount_losses_db(
    tiers: tuple[Tier, ...],
    frequency_mhz: NDArray[np.float64],
    clutter_height_m: NDArray[np.float64],
    open_land: NDArray[np.bool_],
    building: str,
) -> NDArray[np.float64]:
    """Return mount_loss_db for K kinds of surroundings, T tiers and n frequencies, shape (K, T, n). [dB]

    building : of covermap.reception.entry.BUILDINGS
    """
    loss_db = np.empty((clutter_height_m.size, len(tiers), frequency_mhz.size))
    sent, as_sent = distinct_rows(frequency_mhz)
    entry = np.array([[entry_db(tier, mhz, building)[0] for (mhz,) in sent] for tier in tiers])
    heights_m = np.array([float(tier.height_m) for tier in tiers])
    entry_loss_db = np.take(entry, as_sent, axis=1)
    _fill_mount_losses(frequency_mhz, heights_m, entry_loss_db, clutter_height_m, open_land, loss_db)
    return loss_db


def height_index(tier: Tier, heights_m: NDArray[np.float64]) -> int:
    """Return which computed height counts for a tier: its own from 10 m upwards, else 10 m.

    Raises InputError if that height was not computed.
    """
    wanted_m = max(tier.height_m, REFERENCE_HEIGHT_M)
    matches = np.flatnonzero(np.abs(np.asarray(heights_m) - wanted_m) < 1e-6)
    if matches.size == 0:
        computed = ", ".join(f"{height:g}" for height in np.asarray(heights_m))
        raise InputError(
            f"tier {tier.tier} ({tier.name}) needs the field at {wanted_m:g} m, but the heights are "
            f"{computed} m. Compute the paths at its height."
        )
    return int(matches[0])
