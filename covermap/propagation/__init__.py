"""propagation: path loss. Numbers in, numbers out; it knows no files, maps or commands."""

from covermap.propagation.diffraction import knife_edge_loss
from covermap.propagation.entry import entry_loss
from covermap.propagation.free_space import field_from_loss, free_space_field, power_from_field
from covermap.propagation.itm.loss import itm_area_loss, itm_loss
from covermap.propagation.locations import location_sd_db
from covermap.propagation.noise import man_made_noise
from covermap.propagation.path_loss import PathLoss, p1812_loss
from covermap.propagation.planning_factors import median_field, minimum_field, planning_factor_field
from covermap.propagation.profile import Profile
from covermap.propagation.profile_diffraction import Diffraction, delta_bullington
from covermap.propagation.ridges import Ridge, path_class, ridges, taut_string
from covermap.propagation.terminal import terminal_clutter_loss

__all__ = [
    "Diffraction",
    "PathLoss",
    "Profile",
    "Ridge",
    "delta_bullington",
    "entry_loss",
    "field_from_loss",
    "free_space_field",
    "itm_area_loss",
    "itm_loss",
    "knife_edge_loss",
    "location_sd_db",
    "man_made_noise",
    "median_field",
    "minimum_field",
    "p1812_loss",
    "path_class",
    "planning_factor_field",
    "power_from_field",
    "ridges",
    "taut_string",
    "terminal_clutter_loss",
]
