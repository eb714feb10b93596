"""Who must wait for whom: contention domains and how full they are."""
