"""How kernels are compiled: the one place that says so."""

import numba

# The numpy error model gives inf and NaN where Python would raise.
# fastmath=True stays off: NaN marks cells without data, and it may drop them. A kernel that needs
# reassociation to vectorise names its flags ({"contract", "reassoc", ...}, never "nnan" or "ninf")
# with the gain measured beside it.
# No parallel=True: threads stand outside (one a tile); two Python threads inside
# numba's own parallel loops abort the process.
# fastmath=False is said, not left out: a kernel first compiled inside a caller with flags would take the
# caller's, and keep them in the cache.
kernel = numba.njit(cache=True, nogil=True, error_model="numpy", fastmath=False)
