"""Search over the runs of a reports folder."""

from verify.ledger.tickets import TicketLine, ticket_line, ticket_lines

__all__ = ["TicketLine", "ticket_line", "ticket_lines"]
