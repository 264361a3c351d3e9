"""The irregular terrain model along radials: to every cell by the radial's ground up to its step."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from covermap.propagation.compiling import kernel
from covermap.propagation.inverse_normal import inverse_complementary_normal
from covermap.propagation.itm.path import ItmGround, ground_impedance
from covermap.propagation.itm.profile import itm_profile_path
from covermap.propagation.itm.reference import itm_free_space_db, reference_attenuation_db
from covermap.propagation.itm.variability import BROADCAST, varied_loss_db
from covermap.propagation.sweep.radial_sweep import RadialSweep
from covermap.propagation.sweep.records import CellLosses, RadialItems, RadialProfiles


@kernel
def fill_itm_radials(
    ground_m, step_m, tx_height_m, items, heights_m, frequencies_mhz, impedances, n0, climate, z_other, cells
):
    """Write median loss and spread of each item into the cells: ITM over the ground up to its step.

    ground_m : shape (R, points), the mast first, m above sea level. items : RadialItems; each ends its path
        at its own ground. impedances : complex, of ground_impedance, one a frequency. z_other : deviate of
        the other time percentage, positive below 50 %. cells : CellLosses; only loss and spread are filled.
    Unknown ground on the way gives NaN.

    Source: NTIA ITM 1.2.2 in broadcast mode, median of places and situations. Accuracy: equal to itm_loss.
    """
    for radial in range(items.last_step.size):
        # A copy, as each item puts its own ground at its step and takes it away again: the next items pass
        # over it.
        ground = ground_m[radial].copy()
        known = 0
        while known <= items.last_step[radial] and not math.isnan(ground[known]):
            known += 1
        for item in range(items.first[radial], items.first[radial + 1]):
            step, cell = items.step[item], items.cell[item]
            on_radial_m = ground[step]
            ground[step] = items.ground_m[item]
            unknown = known < step or math.isnan(ground[step])
            for height in range(heights_m.size):
                path = itm_profile_path(ground, step, step_m, tx_height_m, heights_m[height], n0)
                for frequency in range(frequencies_mhz.size):
                    if unknown:
                        cells.loss_db[frequency, height, cell] = math.nan
                        cells.spread_db[frequency, height, cell] = math.nan
                        continue
                    mhz = frequencies_mhz[frequency]
                    reference_db, _ = reference_attenuation_db(path, mhz, impedances[frequency])
                    median_db = varied_loss_db(path, mhz, reference_db, climate, BROADCAST, 0.0, 0.0, 0.0)
                    other_db = varied_loss_db(path, mhz, reference_db, climate, BROADCAST, z_other, 0.0, 0.0)
                    free_db = itm_free_space_db(path.length_m, mhz) + items.excess_db[item]
                    cells.loss_db[frequency, height, cell] = free_db + median_db
                    cells.spread_db[frequency, height, cell] = max(median_db - other_db, 0.0)
            ground[step] = on_radial_m


class ItmSweep:
    """ITM losses of cells along radials, with path class and departure as the sweep of P.1812 finds them.

    The model knows no clutter and no sea. Arguments as of RadialSweep; time_percents are 50 and another.
    Not for two threads at once: one instance a thread.
    """

    def __init__(
        self,
        steps: int,
        items: int,
        heights_m: Sequence[float],
        frequencies: Sequence[tuple[float, bool]],
        time_percents: Sequence[float],
        ground: ItmGround,
    ) -> None:
        # What the sweep of P.1812 is run for beside (path class, departure) is geometry: one frequency is
        # enough.
        first = frequencies[:1]
        self._geometry = RadialSweep(
            steps, items, heights_m, [mhz for mhz, _ in first], [v for _, v in first], time_percents
        )
        self._heights_m = np.asarray(heights_m, dtype=np.float64)
        self._frequencies_mhz = np.array([mhz for mhz, _ in frequencies])
        self._impedances = np.array(
            [
                ground_impedance(mhz, ground.permittivity, ground.conductivity_s_m, vertical)
                for mhz, vertical in frequencies
            ],
            dtype=np.complex128,
        )
        self._climate = ground.climate
        self._z_other = float(inverse_complementary_normal(time_percents[1] / 100.0))

    def run_radials(
        self,
        profiles: RadialProfiles,
        step_km: float,
        tx_height_m: float,
        items: RadialItems,
        dn: float,
        n0: float,
        losses: CellLosses,
    ) -> None:
        """Fill the cells of several radials; as RadialSweep.run_radials."""
        # Its losses go where the first frequency's belong, and fill_itm_radials writes over them afterwards.
        first = CellLosses(losses.loss_db[:1], losses.spread_db[:1], losses.departure_deg, losses.path_class)
        self._geometry.run_radials(profiles, step_km, tx_height_m, items, dn, n0, first)
        fill_itm_radials(
            profiles.ground_m,
            1000.0 * step_km,
            float(tx_height_m),
            items,
            self._heights_m,
            self._frequencies_mhz,
            self._impedances,
            float(n0),
            self._climate,
            self._z_other,
            losses,
        )
