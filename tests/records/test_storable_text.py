"""Text that can be stored is told from what is none by the bytes as they were sent."""

import pytest

from fleet.records.storable_text import has_unstorable_text, is_storable, is_storable_form, is_storable_query

HEAD = b'--B\r\nContent-Disposition: form-data; name="a"'


@pytest.mark.parametrize(
    ("sent", "storable"),
    [
        (b"", True),
        ("é€🔥\ufffd\uffff".encode(), True),
        (b"a\x00b", False),
        (b"\xed\xa0\x80", False),
        (b"\xed\x9f\xbf", True),  # the last character before the halves
        (b"\xee\x80\x80", True),  # the first after them
        (b"\xff", False),
        (b"\xc0\x80", False),  # a NUL of two bytes
        (b"\xc3", False),
    ],
)
def test_bytes_are_storable_where_they_are_utf_8_without_a_nul(sent: bytes, storable: bool) -> None:
    assert is_storable(sent) is storable


@pytest.mark.parametrize(
    ("sent", "storable"),
    [(b"a=%C3%A9&b=%25FF", True), (b"a=%C3&%A9=b", False), (b"a=%00", False), (b"a\xc3\xa9=+", True), (b"a=%zz", True)],
)
def test_a_query_is_storable_where_each_name_and_value_is(sent: bytes, storable: bool) -> None:
    assert is_storable_query(sent) is storable


@pytest.mark.parametrize(
    ("part", "storable"),
    [
        (HEAD + b"\r\n\r\n\xc3\xa9", True),
        (HEAD + b"\r\n\r\n\xc3", False),
        (HEAD + b"\r\nContent-Transfer-Encoding: base64\r\n\r\n7aCA", False),
        (HEAD + b"\r\nContent-Transfer-Encoding: base64\r\n\r\nw6k=", True),
        (HEAD + b'; filename="x"\r\n\r\n\xff\x00', True),
        (HEAD + b'; filename="x\x00"\r\n\r\n', False),
        (HEAD + b"; filename*=UTF-8''%ED%A0%80\r\n\r\n", False),
        (HEAD + b"; filename*=UTF-8'en'%C3%A9\r\n\r\n", True),
        (HEAD + b"; filename*=ISO-8859-1''%E9\r\n\r\n", True),
        (HEAD + b"; filename*=ISO-8859-1''%00\r\n\r\n", False),
        (HEAD + b"; filename*=utf-7''+2AA-\r\n\r\n", False),
        (b"--B--\r\n\xff", False),
    ],
)
def test_a_form_is_storable_where_all_but_its_files_is(part: bytes, storable: bool) -> None:
    assert is_storable_form(b"before \xff is nothing" + part + b"\r\n--B--\r\n", b"B") is storable


@pytest.mark.parametrize(("text", "found"), [("", False), ("é\ufffd", False), ("\x00", True), ("\udfff", True)])
def test_a_text_is_looked_through_for_a_nul_and_for_half_a_character(text: str, found: bool) -> None:
    assert has_unstorable_text(["good", text]) is found
