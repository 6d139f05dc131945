# dnf-prepare: the folders a transaction into an empty root wants.
verb_dnf_prepare() {
    mkdir -p "$TARGET/etc" "$TARGET/var/cache" "$TARGET/var/lib" "$TARGET/var/log" || return 1
}
