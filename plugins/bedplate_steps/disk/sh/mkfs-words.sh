# mkfs-words TYPE: set v_words to the options with which mkfs of the medium makes what older kernels, checkers and boot
# loaders read as well. ext4: the features of mke2fs.conf(5) in e2fsprogs 1.43 to 1.46; xfs and btrfs: without those that
# became usual after Linux 5.15 (mkfs.xfs(8), mkfs.btrfs(8)), where the tool knows their names.
# shellcheck disable=SC2034 # read by the verb that uses this one
verb_mkfs_words() {
    v_words=
    case $1 in
        ext4)
            v_words=none,has_journal,ext_attr,resize_inode,dir_index,filetype,extent,64bit,flex_bg,sparse_super,large_file
            v_words="-O $v_words,huge_file,dir_nlink,extra_isize,metadata_csum"
            ;;
        xfs)
            v_usage=$(mkfs.xfs 2>&1)
            for v_word in i:nrext64 i:exchange n:parent m:metadir; do
                case $v_usage in
                    *"${v_word#*:}=0|1"*) v_words="$v_words -${v_word%%:*} ${v_word#*:}=0" ;;
                esac
            done
            ;;
        btrfs)
            v_usage=$(mkfs.btrfs -O list-all 2>&1)
            for v_word in block-group-tree raid-stripe-tree; do
                case $v_usage in
                    *"$v_word"*) v_words="$v_words,^$v_word" ;;
                esac
            done
            v_words=${v_words:+-O ${v_words#,}}
            ;;
    esac
}
