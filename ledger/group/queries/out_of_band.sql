-- One row a drive whose last speed was out of its band.
SELECT o.site, o.machine, m.name, o.read_on, o.read_rpm, o.expanded_uncertainty_rpm,
       o.band_low_rpm, o.band_high_rpm, o.setting, o.unit
FROM settings o JOIN machines m ON m.site = o.site AND m.machine = o.machine
WHERE o.verdict = 'out of band'
ORDER BY o.site, o.machine
