-- Nothing of the tables changes. From here on the log may hold events and fields
-- that a waycall of before does not know (notes, observations, figures of a
-- preparation step), and the higher version tells it so, instead of letting it take
-- the file for damaged.
SELECT 1;
