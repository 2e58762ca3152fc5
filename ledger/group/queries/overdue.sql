-- One row a task that is overdue at a site, over all its places.
SELECT site, task, MIN(title) AS title, COUNT(*) AS places, MAX(overdue_days) AS longest_days
FROM due WHERE state = 'overdue'
GROUP BY site, task
ORDER BY site, longest_days DESC, task
