INSERT INTO audit.sealed (position, leaf, hash) SELECT 0, id, hash FROM audit.leaf;
