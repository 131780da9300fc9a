"""Kept for the migrations, which import it by this name: see `fleet.records.base_model`."""

from fleet.records.base_model import append_only, portfolio_key, same_portfolio

__all__ = ["append_only", "portfolio_key", "same_portfolio"]
