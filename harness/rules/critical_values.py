"""Critical values that no formula gives, for samples of a normal distribution.

Pure. Simulated by ``scripts/critical_values.py`` with a fixed seed, one million samples of each
size up to 30 (four of the modified z score, whose tail is long) and fewer of larger ones: the
standard error is about 0.2 % of a value at 10 % and 5 %, 0.4 % at 1 %. The tests simulate some
of them again. The textbooks' constants (3.5 for the modified z score, 1.5 quartile distances)
are not held against an error rate: they discard a pass in 9 to 21 % and in 24 to 34 % of sound
cells of five to thirty passes.

Each table: how many values -> the critical values at 10 %, 5 % and 1 %.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

#: The levels, in the order of the columns.
LEVELS = (0.1, 0.05, 0.01)

#: 0.6745 x the largest distance from the median / the median such distance.
MODIFIED_Z: Mapping[int, tuple[float, float, float]] = {
    4: (4.739, 6.901, 16),
    5: (5.401, 7.934, 18.5),
    6: (4.196, 5.542, 10.09),
    7: (4.408, 5.845, 10.71),
    8: (3.909, 4.916, 7.962),
    9: (4.027, 5.071, 8.232),
    10: (3.749, 4.572, 6.905),
    11: (3.829, 4.675, 7.069),
    12: (3.651, 4.364, 6.288),
    13: (3.706, 4.432, 6.398),
    14: (3.591, 4.23, 5.889),
    15: (3.631, 4.278, 5.953),
    16: (3.546, 4.127, 5.598),
    17: (3.578, 4.166, 5.652),
    18: (3.513, 4.054, 5.394),
    19: (3.543, 4.088, 5.441),
    20: (3.488, 3.994, 5.232),
    21: (3.513, 4.023, 5.264),
    22: (3.47, 3.949, 5.099),
    23: (3.494, 3.973, 5.129),
    24: (3.458, 3.914, 4.998),
    25: (3.479, 3.938, 5.029),
    26: (3.448, 3.886, 4.914),
    27: (3.466, 3.905, 4.933),
    28: (3.44, 3.86, 4.837),
    29: (3.457, 3.878, 4.86),
    30: (3.436, 3.843, 4.786),
    40: (3.425, 3.781, 4.579),
    60: (3.44, 3.745, 4.411),
    100: (3.487, 3.747, 4.304),
    200: (3.593, 3.817, 4.285),
    500: (3.768, 3.96, 4.371),
    1000: (3.918, 4.097, 4.479),
}
#: The largest distance beyond a quartile (type 7) / the distance of the quartiles.
TUKEY: Mapping[int, tuple[float, float, float]] = {
    4: (1.849, 2.121, 2.554),
    5: (3.676, 5.614, 13.76),
    6: (2.624, 3.614, 6.946),
    7: (2.287, 2.985, 5.077),
    8: (2.286, 2.912, 4.687),
    9: (2.583, 3.374, 5.786),
    10: (2.313, 2.928, 4.666),
    11: (2.205, 2.732, 4.147),
    12: (2.202, 2.696, 3.972),
    13: (2.315, 2.867, 4.339),
    14: (2.195, 2.672, 3.918),
    15: (2.139, 2.571, 3.653),
    16: (2.143, 2.56, 3.6),
    17: (2.209, 2.652, 3.782),
    18: (2.13, 2.534, 3.527),
    19: (2.101, 2.48, 3.401),
    20: (2.107, 2.478, 3.366),
    21: (2.147, 2.532, 3.461),
    22: (2.099, 2.455, 3.309),
    23: (2.081, 2.422, 3.228),
    24: (2.084, 2.417, 3.207),
    25: (2.116, 2.46, 3.275),
    26: (2.083, 2.408, 3.177),
    27: (2.066, 2.381, 3.112),
    28: (2.07, 2.38, 3.102),
    29: (2.093, 2.409, 3.153),
    30: (2.07, 2.372, 3.069),
    40: (2.056, 2.319, 2.913),
    60: (2.064, 2.289, 2.789),
    100: (2.094, 2.29, 2.699),
    200: (2.17, 2.334, 2.689),
    500: (2.292, 2.435, 2.737),
    1000: (2.408, 2.541, 2.816),
}
#: Squares between two levels / squares within them, the best split: ``levels.py``.
TWO_LEVELS: Mapping[int, tuple[float, float, float]] = {
    4: (14.13, 28.99, 149),
    5: (11.36, 18.55, 55.73),
    6: (8.855, 12.88, 29.82),
    7: (7.31, 9.892, 19.6),
    8: (6.318, 8.18, 14.56),
    9: (5.327, 6.729, 11.12),
    10: (4.979, 6.161, 9.666),
    11: (4.664, 5.676, 8.547),
    12: (4.404, 5.284, 7.737),
    13: (4.095, 4.871, 6.958),
    14: (3.954, 4.661, 6.517),
    15: (3.821, 4.467, 6.122),
    16: (3.698, 4.294, 5.801),
    17: (3.562, 4.113, 5.512),
    18: (3.475, 3.988, 5.269),
    19: (3.392, 3.879, 5.066),
    20: (3.319, 3.778, 4.892),
    21: (3.24, 3.674, 4.715),
    22: (3.183, 3.599, 4.586),
    23: (3.134, 3.53, 4.458),
    24: (3.083, 3.463, 4.353),
    25: (3.033, 3.398, 4.243),
    26: (2.994, 3.343, 4.161),
    27: (2.955, 3.294, 4.069),
    28: (2.922, 3.248, 4.004),
    29: (2.884, 3.201, 3.925),
    30: (2.852, 3.156, 3.854),
    40: (2.628, 2.867, 3.388),
    60: (2.4, 2.574, 2.944),
    100: (2.209, 2.331, 2.577),
    200: (2.044, 2.122, 2.28),
    500: (1.921, 1.968, 2.061),
    1000: (1.868, 1.901, 1.962),
}


def critical(table: Mapping[int, tuple[float, float, float]], n: int, *, alpha: float) -> float:
    """Return the critical value for *n* values; between two rows, by the logarithm of n.

    Beyond the last row its value holds.

    Raises:
        ValueError: fewer values than the table has, or a level that it does not have.
    """
    if alpha not in LEVELS:
        raise ValueError(f"critical values are known at {LEVELS}, not at {alpha!r}")
    column = LEVELS.index(alpha)
    if n < min(table):
        raise ValueError(f"critical values are known from {min(table)} values on, not for {n}")
    below = max(size for size in table if size <= n)
    above = min((size for size in table if size >= n), default=below)
    low, high = table[below][column], table[above][column]
    if above == below:
        return low
    return low + (high - low) * math.log(n / below) / math.log(above / below)
