-- One row a site: how much stands out there.
SELECT s.site, s.name, s.zone, s.as_of, s.last_filed,
       COALESCE(d.overdue, 0) AS overdue,
       COALESCE(o.out_of_band, 0) AS out_of_band,
       COALESCE(f.open_findings, 0) AS open_findings,
       COALESCE(r.drifting, 0) AS drifting,
       i.in_time, i.due_dates
FROM site s
LEFT JOIN (SELECT site, COUNT(*) AS overdue FROM due WHERE state = 'overdue' GROUP BY site) d
       ON d.site = s.site
LEFT JOIN (SELECT site, COUNT(*) AS out_of_band FROM settings WHERE verdict = 'out of band' GROUP BY site) o
       ON o.site = s.site
LEFT JOIN (SELECT site, COUNT(*) AS open_findings FROM findings WHERE "open" GROUP BY site) f
       ON f.site = s.site
LEFT JOIN (SELECT site, COUNT(*) AS drifting FROM drift WHERE signals > 0 GROUP BY site) r
       ON r.site = s.site
LEFT JOIN (SELECT b.site, SUM(b.in_time) AS in_time,
                  SUM(b.in_time + b.late + b.early + b.not_done) AS due_dates
           FROM obligations b JOIN site t ON t.site = b.site
           WHERE b."month" >= t.year_from GROUP BY b.site) i
       ON i.site = s.site
ORDER BY s.site
