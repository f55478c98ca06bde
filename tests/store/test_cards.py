"""Cards and photos: kept beside the journal, and erased without a trace in it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy.exc import IntegrityError

from portraitq.core.events import print_instant
from portraitq.store import cards, photos
from portraitq.store.cards import Card
from portraitq.store.store import Store, open_store
from tests.builders import instant
from tests.store.picture import Picture


@pytest.fixture
def store(where: Path | str) -> Iterator[Store]:
    opened = open_store(where)
    with opened.writing() as connection:
        cards.put(connection, "quayside", "T1", Card("CODE1", name="Anouk", contact="0612", note="glasses stay on"))
        cards.put(connection, "quayside", "T2", Card("CODE2", is_child=True, consent_by="mother"))
        cards.put(connection, "arcade", "T1", Card("CODE3", name="Bram"))
    yield opened
    opened.close()


def test_a_card_is_found_by_its_ticket_and_the_ticket_by_its_code(store: Store) -> None:
    with store.reading() as connection:
        card = cards.of_ticket(connection, "quayside", "T1")

        assert card == Card("CODE1", name="Anouk", contact="0612", note="glasses stay on")
        assert cards.by_code(connection, "CODE3") == ("arcade", "T1")
        assert cards.by_code(connection, "CODE9") is None


def test_a_code_is_never_given_twice(store: Store) -> None:
    with pytest.raises(IntegrityError), store.writing() as connection:
        cards.put(connection, "quayside", "T3", Card("CODE1"))


def test_a_card_is_changed_field_by_field(store: Store) -> None:
    with store.writing() as connection:
        cards.change(connection, "quayside", "T1", note="freckles in")

    with store.reading() as connection:
        assert cards.of_ticket(connection, "quayside", "T1") == Card("CODE1", "Anouk", "0612", "freckles in")


def test_erasing_deletes_the_person_and_the_photos_and_leaves_the_code_and_the_others(store: Store) -> None:
    with store.writing() as connection:
        photos.add(connection, "quayside", "T1", Picture())
        photos.add(connection, "quayside", "T2", Picture())

    with store.writing() as connection:
        cards.erase(connection, "quayside", "T1")

    with store.reading() as connection:
        assert cards.of_ticket(connection, "quayside", "T1") == Card("CODE1", is_erased=True)
        assert cards.of_ticket(connection, "quayside", "T2") == Card("CODE2", is_child=True, consent_by="mother")
        assert list(photos.of_tickets(connection, "quayside", ["T1", "T2"])) == ["T2"]


def test_an_erased_card_stays_erased(store: Store) -> None:
    with store.writing() as connection:
        cards.erase(connection, "quayside", "T1")
        cards.change(connection, "quayside", "T1", name="Anouk")

    with store.reading() as connection:
        assert cards.of_ticket(connection, "quayside", "T1") == Card("CODE1", is_erased=True)


def test_photos_of_a_ticket_come_in_the_order_in_which_they_were_taken(store: Store) -> None:
    with store.writing() as connection:
        first, second = (photos.add(connection, "quayside", "T1", Picture(width_px=width)) for width in (1000, 1100))

    with store.reading() as connection:
        kept = photos.of_tickets(connection, "quayside", ["T1"])["T1"]
        whole = photos.photo(connection, second)

    assert [photo.id for photo in kept] == [first, second]
    assert whole is not None
    assert (whole.jpeg, whole.width_px, whole.ticket) == (Picture().jpeg, 1100, "T1")


def test_a_photo_is_removed_only_with_the_ticket_that_it_belongs_to(store: Store) -> None:
    with store.writing() as connection:
        id = photos.add(connection, "quayside", "T1", Picture())

        assert not photos.remove(connection, "quayside", "T2", id)
        assert photos.remove(connection, "quayside", "T1", id)
        assert photos.photo(connection, id) is None


def test_a_loose_photo_belongs_to_the_order_that_claims_it_and_to_no_second_one(store: Store) -> None:
    with store.writing() as connection:
        taken, loose = (photos.add(connection, "quayside", ticket, Picture()) for ticket in ("T1", photos.LOOSE))

        assert photos.claim(connection, "quayside", "T1", [loose]) == []
        assert photos.claim(connection, "quayside", "T2", [loose, taken, "nobody's"]) == [loose, taken, "nobody's"]
        assert [photo.id for photo in photos.of_tickets(connection, "quayside", ["T1"])["T1"]] == [taken, loose]


def test_loose_photos_that_nobody_claims_are_deleted_and_no_others(store: Store) -> None:
    at = [print_instant(instant(clock)) for clock in ("09:00", "09:30", "10:00")]
    with store.writing() as connection:
        photos.add(connection, "quayside", "T1", Picture(), came_at=at[0])
        old, new = (photos.add(connection, "quayside", photos.LOOSE, Picture(), came_at=one) for one in (at[0], at[2]))
        photos.add(connection, "arcade", photos.LOOSE, Picture(), came_at=at[0])

        assert photos.remove_loose(connection, "quayside", at[1]) == 1
        assert photos.photo(connection, old) is None
        assert photos.photo(connection, new) is not None
        assert cards.personal(connection, "quayside") == {"T1", "T2"}


def test_what_was_made_of_a_photo_goes_with_it_and_with_its_marks(store: Store) -> None:
    with store.writing() as connection:
        first, second = (photos.add(connection, "quayside", "T1", Picture()) for _ in range(2))
        for id in (first, second):
            photos.keep_view(connection, id, "grey", b"first try")
            photos.keep_view(connection, id, "grey", b"grey")

        assert photos.view(connection, first, "grey") == b"grey"
        assert photos.mark_faces(connection, "quayside", first, "[[0,0,1,1]]")
        assert photos.view(connection, first, "grey") is None
        cards.erase(connection, "quayside", "T1")
        assert photos.view(connection, second, "grey") is None
        photos.keep_view(connection, second, "grey", b"too late")
        assert photos.view(connection, second, "grey") is None
        assert not photos.mark_faces(connection, "quayside", first, "")
