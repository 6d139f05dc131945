# home-present UID FOLDER: the target has the home folder, of that number and for it alone, with what the target gives to
# new accounts (useradd(8), /etc/skel); made beside its place and renamed. One that is there already is left alone.
verb_home_present() {
    [ ! -d "$TARGET$2" ] || return 0
    v_new=$2.new
    in_target mkdir -p "$v_new" || return 1
    if [ -d "$TARGET/etc/skel" ]; then
        in_target cp -a /etc/skel/. "$v_new/" || return 1
    fi
    in_target chown -R "$1:$1" "$v_new" || return 1
    in_target chmod 0700 "$v_new" || return 1
    sync
    in_target mv -T "$v_new" "$2" || return 1
}
