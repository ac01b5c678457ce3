"""What happens when a table or a player is made or changed."""

from __future__ import annotations

from service.store import FIRST, PlayerRecord, Store, TableRecord


class Places:
    """Used in the desk's turns, as all changes are; NotFoundError for a number that is none."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def add_table(self, name: str, player_id: int = FIRST) -> TableRecord:
        """Another table, and who plays at it."""
        with self._store.writing() as writer:
            record = writer.add_table(name, player_id=player_id)
            writer.tell("table", table_id=record.id)
        return record

    def change_table(
        self, number: int, name: str | None = None, player_id: int | None = None
    ) -> TableRecord:
        """Another name, or another player at it; None leaves it.

        A pending intent stays its player's, an open practice too: they end with their next shot,
        or by hand.
        """
        with self._store.writing() as writer:
            record = writer.change_table(number, name=name, player_id=player_id)
            writer.tell("table", table_id=record.id)
        return record

    def add_player(self, name: str) -> PlayerRecord:
        """Another player, with nothing but starting values."""
        with self._store.writing() as writer:
            record = writer.add_player(name)
            writer.tell("player", player_id=record.id)
        return record

    def rename_player(self, number: int, name: str | None = None) -> PlayerRecord:
        """Another name; None leaves it."""
        with self._store.writing() as writer:
            held = writer.player(number)
            record = held if name is None else writer.rename_player(number, name)
            writer.tell("player", player_id=record.id)
        return record
