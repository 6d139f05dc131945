# dnf-drop PACKAGE...: remove the packages from the running machine, with what only they had brought along.
verb_dnf_drop() {
    in_target dnf -y remove "$@"
}
