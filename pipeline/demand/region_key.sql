-- One name for a region, unique over the run: 'Area / Region', because two areas may each have a
-- region of the same name. A blank in a name counts as not stated; ' / ' inside a name loses its
-- blanks, so that the joint stays the only ' / ' there is.
CREATE OR REPLACE MACRO place_name(name) AS
    nullif(trim(replace(name, ' / ', '/')), '');

CREATE OR REPLACE MACRO region_key(area, region) AS
    CASE
        WHEN place_name(area) IS NULL THEN coalesce(place_name(region), '$not_stated')
        ELSE place_name(area) || ' / ' || coalesce(place_name(region), '$not_stated')
    END;

CREATE OR REPLACE MACRO area_key(area) AS coalesce(place_name(area), '$not_stated');
