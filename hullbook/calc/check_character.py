"""A check character behind a code that is copied by hand: one character keyed wrong, or two swapped, shows at once.

ISO/IEC 7064, the pure system MOD 37-2: figures and capital letters, checked by one more of them or by an asterisk.
"""

from __future__ import annotations

from hullbook.calc.errors import InputRefused

CHARACTERS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*"
MODULUS, RADIX = 37, 2


def check_character(code: str) -> str:
    """Give the character that checks `code`; what is neither figure nor letter is passed over, as the dash in R-0412.

    Raises `missing` where there is no figure or letter in it. Source: ISO/IEC 7064, MOD 37-2.
    """
    figures = [CHARACTERS.index(one) for one in code.upper() if one in CHARACTERS[:-1]]
    if not figures:
        raise InputRefused("missing", "code", f'"{code}"', "give a code of figures and letters")
    remainder = 0
    for figure in figures:
        remainder = (remainder + figure) * RADIX % MODULUS
    return CHARACTERS[(1 - remainder) % MODULUS]
