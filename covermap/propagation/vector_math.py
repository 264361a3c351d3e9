"""Logarithm, power of two and third of a sine that the compiler can vectorise, with the flags for it.

A call of the library's log or exp keeps LLVM from turning a loop into vector instructions. These are
polynomials on the bits of the number: 1.1 ns a logarithm in a loop over 2000 numbers, against 5.4 ns for
the library's (numba 0.68, one core of a shared AMD EPYC with AVX-512).
"""

import math
from typing import Any

import numba
import numpy as np
from numba import types
from numba.extending import intrinsic

from covermap.kernel_cache import in_own_cache
from covermap.linked_kernels import with_twin

# "contract" (a product and a sum in one instruction) makes the sweep 20 to 30 % faster. "reassoc", "arcp",
# "afn" and "nsz" together add at most 3 %, and reassoc is a trap: log2_positive subtracts 2^52 + 1023 from
# bits read as a float, in front of which the compiler would move small addends of the caller and lose them
# (up to 4 dB of a loss). Never "nnan" or "ninf": NaN marks what is unknown.
VECTOR_FLAGS = {"contract"}
# Kernels of the sweep make no arrays: references are not counted, which halves the passes of compiling.
_VECTOR: dict[str, Any] = {
    "cache": True,
    "nogil": True,
    "error_model": "numpy",
    "fastmath": VECTOR_FLAGS,
    "no_cfunc_wrapper": True,
    "_nrt": False,
}
vector_kernel = with_twin(in_own_cache(numba.njit(**_VECTOR)), _VECTOR)
# For a formula inside a loop: LLVM must inline it or the loop stays scalar, and the sweep of many
# frequencies takes a quarter longer.
_FORMULA: dict[str, Any] = {**_VECTOR, "forceinline": True}
vector_formula = with_twin(in_own_cache(numba.njit(**_FORMULA)), _FORMULA)
# For a kernel that only calls others in their order: taken into its caller before compiling, it costs no
# compiling of its own.
vector_order = in_own_cache(numba.njit(**_VECTOR, inline="always"))

LOG10_OF_2 = math.log10(2.0)  # log10(x) = LOG10_OF_2 log2(x)
LN_OF_2 = math.log(2.0)
LOG2_OF_10 = 1.0 / LOG10_OF_2  # 10^x = 2^(LOG2_OF_10 x)
LOG2_OF_E = 1.0 / LN_OF_2
LOG2_OF_DB = LOG2_OF_10 / 10.0  # a level's power is 2^(LOG2_OF_DB level)
DB_OF_LOG2 = 10.0 * LOG10_OF_2  # and its level DB_OF_LOG2 times the power's logarithm


@intrinsic
def _bits(typingctx, number):
    """Return the bits of a float64 as a uint64."""
    from llvmlite import ir

    def generate(context, builder, signature, arguments):
        return builder.bitcast(arguments[0], ir.IntType(64))

    return types.uint64(types.float64), generate


@intrinsic
def _from_bits(typingctx, bits):
    """Return the float64 with the given bits."""
    from llvmlite import ir

    def generate(context, builder, signature, arguments):
        return builder.bitcast(arguments[0], ir.DoubleType())

    return types.float64(types.uint64), generate


def _polynomial(function, low, high, degree):
    """Return the coefficients, lowest power first, of function's Chebyshev interpolation on [low, high]."""
    fit = np.polynomial.Chebyshev.interpolate(np.vectorize(function), degree, [low, high])
    return tuple(float(c) for c in fit.convert(kind=np.polynomial.Polynomial).coef)


def _atanh_series(z):
    """Return log2((1 + s)/(1 - s))/s for z = s^2."""
    return 2.0 / LN_OF_2 * (math.atanh(math.sqrt(z)) / math.sqrt(z) if z > 1e-12 else 1.0)


def _arcsine_series(z):
    """Return asin(s)/s for z = s^2."""
    return math.asin(math.sqrt(z)) / math.sqrt(z) if z > 1e-12 else 1.0


def _sine_series(z):
    """Return sin(s)/s for z = s^2."""
    return math.sin(math.sqrt(z)) / math.sqrt(z) if z > 1e-12 else 1.0


# The mantissa is taken between sqrt(1/2) and sqrt(2), so s = (m - 1)/(m + 1) has s^2 below 0.02945.
L0, L1, L2, L3, L4, L5, L6 = _polynomial(_atanh_series, 0.0, 0.02945, 6)
E0, E1, E2, E3, E4, E5, E6, E7, E8, E9 = _polynomial(np.exp2, -0.5, 0.5, 9)
A0, A1, A2, A3, A4, A5, A6, A7, A8, A9, A10, A11 = _polynomial(_arcsine_series, 0.0, 0.25, 11)
S0, S1, S2, S3, S4, S5, S6 = _polynomial(_sine_series, 0.0, 0.275, 6)  # (pi/6)^2 = 0.2742

_SQRT_HALF_BITS = np.uint64(0x3FE6A09E667F3BCD)
_ONE_OVER_SQRT_HALF_BITS = np.uint64(0x3FF0000000000000 - 0x3FE6A09E667F3BCD)
_MANTISSA_MASK = np.uint64(0x000FFFFFFFFFFFFF)
_TWO_TO_52_BITS = np.uint64(0x4330000000000000)
_MANTISSA_BITS = np.uint64(52)
_TWO_TO_52_AND_BIAS = 4503599627371519.0  # 2^52 + 1023
_ROUNDING_SHIFT = 6755399441055744.0  # 1.5 x 2^52: adding it leaves an integer in the lowest bits


@vector_formula
def log2_positive(x):
    """Return the base-2 logarithm of a positive normal number.

    x : dimensionless, above 2.3e-308. Zero, negative numbers and NaN give a wrong number, not NaN.

    Source: log2(m) = 2/ln 2 atanh((m - 1)/(m + 1)), the series of atanh fitted to degree 6.
    Accuracy: 2e-15 relative.
    """
    shifted = _bits(x) + _ONE_OVER_SQRT_HALF_BITS  # type: ignore[call-arg]  # numba passes the context
    exponent = _from_bits((shifted >> _MANTISSA_BITS) | _TWO_TO_52_BITS) - _TWO_TO_52_AND_BIAS
    mantissa = _from_bits((shifted & _MANTISSA_MASK) + _SQRT_HALF_BITS)
    s = (mantissa - 1.0) / (mantissa + 1.0)
    z = s * s
    return exponent + s * (L0 + z * (L1 + z * (L2 + z * (L3 + z * (L4 + z * (L5 + z * L6))))))


@vector_formula
def exp2(y):
    """Return 2 to the power y.

    y : dimensionless; beyond -1000 and 1000 the answer at that limit. NaN gives the answer at a limit.

    Source: Chebyshev interpolation of degree 9 on half a unit round each integer. Accuracy: 4e-14 relative.
    """
    # The exponent is added as bits: past 1023 it would run into the sign, and a huge power would come out
    # negative.
    y = min(max(y, -1000.0), 1000.0)
    whole = math.floor(y + 0.5)
    r = y - whole
    p = E5 + r * (E6 + r * (E7 + r * (E8 + r * E9)))
    p = E0 + r * (E1 + r * (E2 + r * (E3 + r * (E4 + r * p))))
    shift = _bits(whole + _ROUNDING_SHIFT) << _MANTISSA_BITS  # type: ignore[call-arg]
    return _from_bits(_bits(p) + shift)


@vector_formula
def third_sine(q):
    """Return sin(asin(q)/3), which is cos(pi/3 + acos(q)/3), the root of a cubic in closed form.

    q : dimensionless, -1 to 1; outside it a wrong number.

    Source: the identity above; asin by its series to 1/2 and by the half angle beyond. Accuracy: 2e-15.
    """
    size = abs(q)
    # Beyond 1/2 the series of asin converges slowly: asin(s) = pi/2 - 2 asin(sqrt((1 - s)/2)) brings it back.
    large = size > 0.5
    z = 0.5 * (1.0 - size) if large else size * size
    root = math.sqrt(z)
    p = A6 + z * (A7 + z * (A8 + z * (A9 + z * (A10 + z * A11))))
    angle = root * (A0 + z * (A1 + z * (A2 + z * (A3 + z * (A4 + z * (A5 + z * p))))))
    angle = (0.5 * math.pi - 2.0 * angle if large else angle) * (1.0 / 3.0)
    z = angle * angle
    sine = angle * (S0 + z * (S1 + z * (S2 + z * (S3 + z * (S4 + z * (S5 + z * S6))))))
    return math.copysign(sine, q)
