"""From the converter's counts to mA, mV and tenths of a degree."""
