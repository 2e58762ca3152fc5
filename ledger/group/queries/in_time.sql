-- One row a site and what its tasks are for: due dates of the last twelve months.
SELECT b.site, b.for_what, SUM(b.in_time) AS in_time,
       SUM(b.in_time + b.late + b.early + b.not_done) AS due_dates, SUM(b.not_done) AS not_done
FROM obligations b JOIN site s ON s.site = b.site
WHERE b."month" >= s.year_from
GROUP BY b.site, b.for_what
ORDER BY b.for_what, b.site
