import secrets

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portraitq.ticket.codes import (
    CHECK_SYMBOLS,
    CODE_SYMBOLS,
    RANDOM_BITS,
    SYMBOLS,
    check_symbol,
    decode,
    encode,
    new_code,
    normalise,
    shown,
)

VALUES = st.integers(0, 2**RANDOM_BITS - 1).filter(lambda value: value % 37 < 32)
CODES = VALUES.map(lambda value: new_code(lambda bits: value))

# crockford.com/base32 and PyPI base32-crockford
WITH_CHECK = {
    0: "00",
    31: "ZZ",
    32: "10*",
    33: "11~",
    34: "12$",
    35: "13=",
    36: "14U",
    1234: "16JD",
    65535: "1ZZZ8",
    1048575: "ZZZZ*",
    123456789: "3NQK8NU",
    2**30 - 1: "ZZZZZZA",
}


def test_the_alphabet_is_crockfords():  # crockford.com/base32
    assert SYMBOLS == "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
    assert CHECK_SYMBOLS[32:] == "*~$=U"


@pytest.mark.parametrize(("value", "text"), WITH_CHECK.items())
def test_a_value_is_written_with_its_check_symbol_as_others_write_it(value, text):  # PyPI base32-crockford
    assert encode(value, check=True) == text
    assert decode(text, check=True) == value


@pytest.mark.parametrize(("text", "value"), [("16j", 1234), ("l6J", 1234), ("I6-J", 1234), ("oO1", 1)])
def test_look_alikes_case_and_hyphens_are_forgiven(text, value):  # PyPI base32-crockford
    assert decode(text) == value


@pytest.mark.parametrize(("text", "check"), [("16JE", True), ("U12", False), ("", False), ("D", True)])
def test_a_wrong_check_and_a_foreign_symbol_are_refused(text, check):  # PyPI base32-crockford
    with pytest.raises(ValueError, match="symbol"):
        decode(text, check=check)


def test_a_negative_value_is_refused():
    with pytest.raises(ValueError, match="0 or more"):
        encode(-1)


@given(CODES)
def test_a_code_read_back_from_its_groups_is_itself(code):
    assert len(code) == CODE_SYMBOLS
    assert set(code) <= set(SYMBOLS)
    assert normalise(shown(code)) == code
    assert normalise(f"  {shown(code).lower()}\n") == code
    assert normalise(code.replace("0", "o").replace("1", "l")) == code


@given(CODES, st.integers(0, CODE_SYMBOLS - 1), st.sampled_from(SYMBOLS))
def test_every_single_wrong_symbol_is_refused(code, place, symbol):  # 37 is prime and above 32
    wrong = code[:place] + symbol + code[place + 1 :]

    assert normalise(wrong) == (code if wrong == code else None)


@given(CODES, st.integers(0, CODE_SYMBOLS - 2))
def test_every_swap_of_neighbours_is_refused(code, place):
    swapped = code[:place] + code[place + 1] + code[place] + code[place + 2 :]

    assert normalise(swapped) == (code if swapped == code else None)


@given(st.text(max_size=80))
def test_whatever_is_typed_gives_a_code_or_nothing(text):
    code = normalise(text)

    assert code is None or (len(code) == CODE_SYMBOLS and normalise(code) == code)


@pytest.mark.parametrize(
    "text", ["", "0", "0" * 13, "0" * 15, "0" * 10_000, "U" * 14, "٠" * 14, "ı" * 14, "0000000000000*"]
)
def test_what_is_no_code_is_nothing(text):
    assert normalise(text) is None


def test_a_dash_that_a_phone_put_in_by_itself_is_forgiven():
    code = new_code(lambda bits: 1234)

    assert normalise(shown(code).replace("-", "–")) == code


def test_a_draw_whose_check_is_no_plain_symbol_is_drawn_again():
    draws = iter([32, 36, 37])

    code = new_code(lambda bits: next(draws))

    assert code == "00000000000150"


def test_codes_have_at_least_sixty_random_bits():
    asked = []

    new_code(lambda bits: asked.append(bits) or 0)

    assert asked == [RANDOM_BITS]
    assert 2**RANDOM_BITS * 32 // 37 >= 2**60


def test_codes_of_the_systems_chance_differ_and_are_sound():
    codes = {new_code() for _ in range(500)}

    # birthday bound: 500 of 2^64.8 meet with 4e-15
    assert len(codes) == 500
    assert all(normalise(code) == code for code in codes)


def test_ten_guesses_a_second_for_a_fortnight_find_no_live_code():
    tries = 10 * 14 * 86_400
    live = 500

    # checks by counting: with 6 symbols this is above 0.99, so the length is what protects
    assert tries * live / (2**RANDOM_BITS * 32 / 37) < 1e-9
    assert 1 - (1 - live / 32**6) ** tries > 0.99


def test_the_check_is_the_remainder_by_37():
    value = secrets.randbits(65)

    assert CHECK_SYMBOLS.index(check_symbol(value)) == value % 37
