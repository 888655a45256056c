-- One thread each, since batches are folded side by side; nothing is fetched from anywhere.
SET threads = 1;
SET autoinstall_known_extensions = false;
SET autoload_known_extensions = false;
