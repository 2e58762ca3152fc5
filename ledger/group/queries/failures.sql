-- One row a site: failures, vehicles and stops of the whole months of the last year with a meter read.
SELECT s.site, COUNT(m.site) AS months,
       COALESCE(SUM(m.failures), 0) AS failures, COALESCE(SUM(m.vehicles), 0) AS vehicles,
       COALESCE(SUM(m.stopped_machine_minutes), 0) AS machine_minutes,
       COALESCE(SUM(m.stopped_machine_minutes + m.stopped_vehicle_minutes
           + m.stopped_operator_minutes + m.stopped_supply_minutes
           + m.stopped_planned_minutes), 0) AS stopped_minutes,
       COALESCE(SUM(m.tied_back_h), 0) AS tied_back_h,
       SUM(m.cost_low) AS cost_low, SUM(m.cost_high) AS cost_high, MIN(s.currency) AS currency
FROM site s
LEFT JOIN months m ON m.site = s.site AND m.vehicles IS NOT NULL AND m."month" >= s.year_from
GROUP BY s.site
ORDER BY s.site
