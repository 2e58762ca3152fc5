-- One row a task that several sites have: at how many it is overdue, and how it is done in time.
SELECT t.alike, MIN(t.title) AS title, COUNT(DISTINCT t.site) AS sites,
       COUNT(DISTINCT d.site) AS overdue_at,
       SUM(b.in_time) AS in_time, SUM(b.due_dates) AS due_dates
FROM tasks t
LEFT JOIN (SELECT DISTINCT site, task FROM due WHERE state = 'overdue') d
       ON d.site = t.site AND d.task = t.task
LEFT JOIN (SELECT o.site, o.task, SUM(o.in_time) AS in_time,
                  SUM(o.in_time + o.late + o.early + o.not_done) AS due_dates
           FROM obligations o JOIN site s ON s.site = o.site
           WHERE o."month" >= s.year_from GROUP BY o.site, o.task) b
       ON b.site = t.site AND b.task = t.task
GROUP BY t.alike
HAVING COUNT(DISTINCT t.site) > 1
ORDER BY t.alike
