# contents-read NODE: ask blkid(8) once what the device holds; sets v_status (its exit status) and v_type, v_version, v_uuid,
# v_label and v_inner (an inner partition table), empty where it names none. Some letters of a label are escaped.
# shellcheck disable=SC2034 # read by the verbs that use this one
verb_contents_read() {
    v_known=$(blkid -p -o export -- "$1")
    v_status=$?
    v_type='' v_version='' v_uuid='' v_label='' v_inner=''
    while IFS= read -r v_line; do
        case $v_line in
            TYPE=*) v_type=${v_line#*=} ;;
            VERSION=*) v_version=${v_line#*=} ;;
            UUID=*) v_uuid=${v_line#*=} ;;
            LABEL=*) v_label=${v_line#*=} ;;
            PTTYPE=*) v_inner=${v_line#*=} ;;
        esac
    done <<END_OF_VALUES
$v_known
END_OF_VALUES
}
