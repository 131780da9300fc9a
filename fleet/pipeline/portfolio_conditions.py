"""The alerts of a portfolio or building as a whole, reconciled under the lock of the portfolio's pulse."""

from datetime import datetime
from uuid import UUID

from django.db.models import Max

from fleet.alerts import services as alerts
from fleet.alerts import surveys
from fleet.alerts.models import Alert
from fleet.board.models import Pulse
from fleet.portfolio.models import Building
from fleet.rules.answers.heat import building_conditions
from fleet.rules.answers.register_gaps import register_gap_conditions
from fleet.rules.answers.unsurveyed import portfolio_conditions


def lock_pulse(portfolio: UUID) -> None:
    """Lock the portfolio's pulse, after every boiler lock: a second writer sees what the first one wrote."""
    Pulse.objects.select_for_update().get_or_create(portfolio_id=portfolio)


def try_to_lock_pulse(portfolio: UUID) -> bool:
    """Lock the portfolio's pulse if nobody holds it; return whether it is locked now."""
    Pulse.objects.get_or_create(portfolio_id=portfolio)
    return Pulse.objects.select_for_update(skip_locked=True).filter(portfolio=portfolio).first() is not None


def clamp_to_written_alerts(portfolio: UUID, at: datetime) -> datetime:
    """Return `at`, or the newest instant written of the portfolio's own alerts if that is later.

    The pulse must be locked. A portfolio's clock never goes back.
    """
    newest_instants = Alert.with_withdrawn.filter(portfolio=portfolio, boiler=None).aggregate(
        Max("raised_at"), Max("returned_at")
    )
    instants: list[datetime] = [instant for instant in newest_instants.values() if instant]
    return max([at, *instants])


def settle_portfolio(*, portfolio: UUID, at: datetime) -> alerts.Reconciled:
    """Make the portfolio's own alerts equal to what its boilers' conclusions say; locks the pulse."""
    lock_pulse(portfolio)
    at = clamp_to_written_alerts(portfolio, at)
    conditions = (
        *portfolio_conditions(portfolio, surveys.spans_of_portfolio(portfolio), at),
        *register_gap_conditions(portfolio, surveys.gaps_of_portfolio(portfolio), at),
    )
    return alerts.reconcile_portfolio(portfolio=portfolio, conditions=conditions, at=at)


def settle_building(*, building: Building, at: datetime) -> alerts.Reconciled:
    """Make a building's own alerts equal to what its boilers' conclusions say of heat; locks the pulse."""
    lock_pulse(building.portfolio_id)
    conditions = building_conditions(building.id, building.address, surveys.heat_of_building(building.id))
    return alerts.reconcile_building(
        portfolio=building.portfolio_id, building=building.id, conditions=conditions, at=at
    )
