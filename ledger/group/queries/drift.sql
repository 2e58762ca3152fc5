-- One row a series that has moved, or will reach a limit.
SELECT site, place, quantity, unit, signals, last_signal, says, reaches_limit_on
FROM drift
WHERE signals > 0 OR reaches_limit_on IS NOT NULL
ORDER BY site, place, quantity
