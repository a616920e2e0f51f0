"""Pure computation: numpy and ERFA only. No Qt, files, clock, network, randomness or globals."""
