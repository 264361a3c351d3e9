"""Which of the tier table's bands a frequency belongs to."""

from covermap.constants import BANDS

# ITU Radio Regulations 2.1: VHF ends at 300 MHz. Between television's bands I (to 88 MHz) and III (from
# 174 MHz) no television stands; the middle of the gap is a convention of ours.
LOW_VHF_ENDS_MHZ = 120.0
VHF_ENDS_MHZ = 300.0


def band_of(frequency_mhz: float) -> str:
    """Return low_vhf, high_vhf or uhf."""
    if frequency_mhz < LOW_VHF_ENDS_MHZ:
        return BANDS[0]
    return BANDS[1] if frequency_mhz < VHF_ENDS_MHZ else BANDS[2]
