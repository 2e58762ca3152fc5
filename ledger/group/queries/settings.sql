-- One row a site and like machines whose settings in force differ between sites at one line rate.
SELECT a.alike, a.unit, a.line_rate_per_h, a.site, a.machines, a.lowest, a.highest,
       g.sites, g.lowest AS lowest_of_all, g.highest AS highest_of_all
FROM (SELECT m.alike, o.unit, o.line_rate_per_h, o.site, COUNT(*) AS machines,
             MIN(o.setting) AS lowest, MAX(o.setting) AS highest
      FROM settings o JOIN machines m ON m.site = o.site AND m.machine = o.machine
      GROUP BY m.alike, o.unit, o.line_rate_per_h, o.site) a
JOIN (SELECT m.alike, o.unit, o.line_rate_per_h, COUNT(DISTINCT o.site) AS sites,
             MIN(o.setting) AS lowest, MAX(o.setting) AS highest
      FROM settings o JOIN machines m ON m.site = o.site AND m.machine = o.machine
      GROUP BY m.alike, o.unit, o.line_rate_per_h) g
  ON g.alike = a.alike AND g.unit = a.unit AND g.line_rate_per_h = a.line_rate_per_h
WHERE g.sites > 1 AND g.lowest < g.highest
ORDER BY a.alike, a.unit, a.line_rate_per_h, a.site
