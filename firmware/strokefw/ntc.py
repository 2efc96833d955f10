"""Thermistor counts to temperature by an integer table: 10 k B3950 to ground, 4.7 k to the reference.

R = R25 exp(B (1/T - 1/298.15 K)), IEC 60539-1. The table is interpolated linearly between every 512th count:
within 0.3 C of the formula from -20 to 120 C.
"""

from array import array

from strokefw.compat import const, micropython, ptr16

OPEN_COUNTS = const(63535)  # 3.2 V: above, the wire is open (or it is colder than -26 C)
SHORT_COUNTS = const(993)  # 0.05 V: below, it is shorted (or hotter than 190 C)
OK = const(0)
OPEN = const(1)
SHORT = const(2)
NO_READING = const(-32768)  # temperature of a sensor that is open or shorted
BIAS_DC = const(1000)

# 0.1 C above -100 C (so that no entry is negative), at 0, 512, 1024 ... 65536 counts
TABLE = array(
    "H",
    (
        3865,
        3432,
        2999,
        2776,
        2629,
        2520,
        2435,
        2364,
        2305,
        2254,
        2208,
        2168,
        2132,
        2098,
        2068,
        2040,
        2013,
        1989,
        1966,
        1944,
        1923,
        1904,
        1885,
        1868,
        1851,
        1834,
        1818,
        1803,
        1789,
        1775,
        1761,
        1748,
        1735,
        1722,
        1710,
        1698,
        1687,
        1676,
        1664,
        1654,
        1643,
        1633,
        1622,
        1612,
        1603,
        1593,
        1583,
        1574,
        1565,
        1556,
        1547,
        1538,
        1529,
        1520,
        1512,
        1503,
        1495,
        1487,
        1478,
        1470,
        1462,
        1454,
        1446,
        1438,
        1430,
        1422,
        1414,
        1406,
        1399,
        1391,
        1383,
        1375,
        1368,
        1360,
        1352,
        1345,
        1337,
        1329,
        1321,
        1314,
        1306,
        1298,
        1290,
        1282,
        1274,
        1266,
        1258,
        1250,
        1242,
        1234,
        1226,
        1218,
        1209,
        1201,
        1192,
        1183,
        1174,
        1165,
        1156,
        1147,
        1138,
        1128,
        1118,
        1108,
        1098,
        1087,
        1076,
        1065,
        1054,
        1042,
        1030,
        1017,
        1004,
        990,
        975,
        960,
        944,
        927,
        908,
        888,
        866,
        842,
        815,
        784,
        747,
        702,
        641,
        543,
        445,
    ),
)


@micropython.viper
def condition(counts: int) -> int:
    """Return OK, OPEN or SHORT for corrected counts (0..65535)."""
    if counts > OPEN_COUNTS:
        return OPEN
    if counts < SHORT_COUNTS:
        return SHORT
    return OK


@micropython.viper
def decidegrees(counts: int) -> int:
    """Return 0.1 C from corrected counts; NO_READING when open or shorted. Allocates nothing."""
    if counts > OPEN_COUNTS or counts < SHORT_COUNTS:
        return NO_READING
    table = ptr16(TABLE)
    i = counts >> 9
    low = int(table[i])
    step = int(table[i + 1]) - low
    return low + ((step * (counts - (i << 9)) + 256) >> 9) - BIAS_DC
