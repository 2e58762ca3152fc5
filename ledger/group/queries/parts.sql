-- One row a part at a site, where several sites have it or one has to order it.
SELECT p.part, p.site, p.name, p.unit, p.on_hand, p.on_order, p.reorder_level, p.to_order, g.sites
FROM parts p
JOIN (SELECT part, COUNT(*) AS sites,
             SUM(CASE WHEN to_order THEN 1 ELSE 0 END) AS to_order
      FROM parts GROUP BY part) g ON g.part = p.part
WHERE g.sites > 1 OR g.to_order > 0
ORDER BY p.part, p.site
