"""A bus whose transactions run out: the ADC library polls "conversion done" without a time-out of its own."""

from __future__ import annotations

from drivers.rig import I2C, Clock


class BusTimeout(RuntimeError):  # noqa: N818 - named for what happened, as TimeoutError is
    """The allowance of time or of transactions is spent.

    Deliberately not an OSError: the library takes one of those for "nothing at this address" and tries again.
    """


class DeadlineBus:
    """busio's methods over `i2c`, for as long and as often as the last `allow` said.

    Both limits count, because each covers the other's blind spot: a stepped clock may stand still while the
    library polls, and a slow kernel call takes time without many transactions. The library takes the lock
    for each transaction and waits for it without end, so taking the lock is where the allowance is spent.
    """

    def __init__(self, i2c: I2C, clock: Clock) -> None:
        self._i2c = i2c
        self._clock = clock
        self._until_s = 0.0
        self._transactions_left = 0
        self.unlock = i2c.unlock
        self.scan = i2c.scan
        self.writeto = i2c.writeto
        self.readfrom_into = i2c.readfrom_into
        self.writeto_then_readfrom = i2c.writeto_then_readfrom

    def allow(self, *, within_s: float, transactions: int) -> None:
        """Start a new allowance: this many transactions, none of them begun later than `within_s` from now."""
        self._until_s = self._clock.monotonic_s() + within_s
        self._transactions_left = transactions

    def try_lock(self) -> bool:
        """Take the bus for one transaction. Raises BusTimeout when the allowance is spent."""
        self._transactions_left -= 1
        if self._transactions_left < 0:
            raise BusTimeout("not finished after the allowed number of transactions")
        if not self._clock.monotonic_s() <= self._until_s:
            raise BusTimeout("not finished within the allowed time")
        return self._i2c.try_lock()
