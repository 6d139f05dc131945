"""Names of locales, so that a spec can be judged on any machine. Enters: a name. Leaves: its character set.

Source: the list SUPPORTED of the GNU C library, version 2.36 as Debian 12 has it. Whether a locale is UTF-8 can't be
told from its name: `sr_RS` is, `de_DE` is not.
"""

from __future__ import annotations

from functools import cache

_UTF8 = """
aa_DJ.UTF-8 aa_ER aa_ER@saaho aa_ET af_ZA.UTF-8 agr_PE ak_GH am_ET an_ES.UTF-8 anp_IN ar_AE.UTF-8 ar_BH.UTF-8
ar_DZ.UTF-8 ar_EG.UTF-8 ar_IN ar_IQ.UTF-8 ar_JO.UTF-8 ar_KW.UTF-8 ar_LB.UTF-8 ar_LY.UTF-8 ar_MA.UTF-8 ar_OM.UTF-8
ar_QA.UTF-8 ar_SA.UTF-8 ar_SD.UTF-8 ar_SS ar_SY.UTF-8 ar_TN.UTF-8 ar_YE.UTF-8 ayc_PE az_AZ az_IR as_IN ast_ES.UTF-8
be_BY.UTF-8 be_BY@latin bem_ZM ber_DZ ber_MA bg_BG.UTF-8 bhb_IN.UTF-8 bho_IN bho_NP bi_VU bn_BD bn_IN bo_CN bo_IN
br_FR.UTF-8 brx_IN bs_BA.UTF-8 byn_ER C.UTF-8 ca_AD.UTF-8 ca_ES.UTF-8 ca_ES@valencia ca_FR.UTF-8 ca_IT.UTF-8 ce_RU
chr_US ckb_IQ cmn_TW crh_UA cs_CZ.UTF-8 csb_PL cv_RU cy_GB.UTF-8 da_DK.UTF-8 de_AT.UTF-8 de_BE.UTF-8 de_CH.UTF-8
de_DE.UTF-8 de_IT.UTF-8 de_LI.UTF-8 de_LU.UTF-8 doi_IN dsb_DE dv_MV dz_BT el_GR.UTF-8 el_CY.UTF-8 en_AG en_AU.UTF-8
en_BW.UTF-8 en_CA.UTF-8 en_DK.UTF-8 en_GB.UTF-8 en_HK.UTF-8 en_IE.UTF-8 en_IL en_IN en_NG en_NZ.UTF-8 en_PH.UTF-8
en_SC.UTF-8 en_SG.UTF-8 en_US.UTF-8 en_ZA.UTF-8 en_ZM en_ZW.UTF-8 eo es_AR.UTF-8 es_BO.UTF-8 es_CL.UTF-8 es_CO.UTF-8
es_CR.UTF-8 es_CU es_DO.UTF-8 es_EC.UTF-8 es_ES.UTF-8 es_GT.UTF-8 es_HN.UTF-8 es_MX.UTF-8 es_NI.UTF-8 es_PA.UTF-8
es_PE.UTF-8 es_PR.UTF-8 es_PY.UTF-8 es_SV.UTF-8 es_US.UTF-8 es_UY.UTF-8 es_VE.UTF-8 et_EE.UTF-8 eu_ES.UTF-8
eu_FR.UTF-8 fa_IR ff_SN fi_FI.UTF-8 fil_PH fo_FO.UTF-8 fr_BE.UTF-8 fr_CA.UTF-8 fr_CH.UTF-8 fr_FR.UTF-8 fr_LU.UTF-8
fur_IT fy_NL fy_DE ga_IE.UTF-8 gd_GB.UTF-8 gez_ER gez_ER@abegede gez_ET gez_ET@abegede gl_ES.UTF-8 gu_IN gv_GB.UTF-8
ha_NG hak_TW he_IL.UTF-8 hi_IN hif_FJ hne_IN hr_HR.UTF-8 hsb_DE.UTF-8 ht_HT hu_HU.UTF-8 hy_AM ia_FR id_ID.UTF-8 ig_NG
ik_CA is_IS.UTF-8 it_CH.UTF-8 it_IT.UTF-8 iu_CA ja_JP.UTF-8 ka_GE.UTF-8 kab_DZ kk_KZ.UTF-8 kl_GL.UTF-8 km_KH kn_IN
ko_KR.UTF-8 kok_IN ks_IN ks_IN@devanagari ku_TR.UTF-8 kw_GB.UTF-8 ky_KG lb_LU lg_UG.UTF-8 li_BE li_NL lij_IT ln_CD
lo_LA lt_LT.UTF-8 lv_LV.UTF-8 lzh_TW mag_IN mai_IN mai_NP mfe_MU mg_MG.UTF-8 mhr_RU mi_NZ.UTF-8 miq_NI mjw_IN
mk_MK.UTF-8 ml_IN mn_MN mni_IN mnw_MM mr_IN ms_MY.UTF-8 mt_MT.UTF-8 my_MM nan_TW nan_TW@latin nb_NO.UTF-8 nds_DE
nds_NL ne_NP nhn_MX niu_NU niu_NZ nl_AW nl_BE.UTF-8 nl_NL.UTF-8 nn_NO.UTF-8 nr_ZA nso_ZA oc_FR.UTF-8 om_ET om_KE.UTF-8
or_IN os_RU pa_IN pa_PK pap_AW pap_CW pl_PL.UTF-8 ps_AF pt_BR.UTF-8 pt_PT.UTF-8 quz_PE raj_IN rif_MA ro_RO.UTF-8
ru_RU.UTF-8 ru_UA.UTF-8 rw_RW sa_IN sah_RU sat_IN sc_IT sd_IN sd_IN@devanagari se_NO sgs_LT shn_MM shs_CA si_LK sid_ET
sk_SK.UTF-8 sl_SI.UTF-8 sm_WS so_DJ.UTF-8 so_ET so_KE.UTF-8 so_SO.UTF-8 sq_AL.UTF-8 sq_MK sr_ME sr_RS sr_RS@latin
ss_ZA st_ZA.UTF-8 sv_FI.UTF-8 sv_SE.UTF-8 sw_KE sw_TZ syr szl_PL ta_IN ta_LK tcy_IN.UTF-8 te_IN tg_TJ.UTF-8
th_TH.UTF-8 the_NP ti_ER ti_ET tig_ER tk_TM tl_PH.UTF-8 tn_ZA to_TO tpi_PG tr_CY.UTF-8 tr_TR.UTF-8 ts_ZA tt_RU
tt_RU@iqtelif ug_CN uk_UA.UTF-8 unm_US ur_IN ur_PK uz_UZ.UTF-8 uz_UZ@cyrillic ve_ZA vi_VN wa_BE.UTF-8 wae_CH wal_ET
wo_SN xh_ZA.UTF-8 yi_US.UTF-8 yo_NG yue_HK yuw_PG zh_CN.UTF-8 zh_HK.UTF-8 zh_SG.UTF-8 zh_TW.UTF-8 zu_ZA.UTF-8
"""

_OTHER = """
ARMSCII-8: hy_AM.ARMSCII-8
BIG5: zh_TW
BIG5-HKSCS: zh_HK
CP1251: be_BY bg_BG ru_RU.CP1251
CP1255: yi_US
EUC-JP: ja_JP.EUC-JP
EUC-KR: ko_KR.EUC-KR
EUC-TW: zh_TW.EUC-TW
GB18030: zh_CN.GB18030
GB2312: zh_CN zh_SG
GBK: zh_CN.GBK zh_SG.GBK
GEORGIAN-PS: ka_GE
ISO-8859-1: aa_DJ af_ZA br_FR ca_ES da_DK de_AT de_BE de_CH de_DE de_IT de_LU en_AU en_BW en_CA en_DK en_GB en_HK
en_IE en_NZ en_PH en_SG en_US en_ZA en_ZW es_AR es_BO es_CL es_CO es_CR es_DO es_EC es_ES es_GT es_HN es_MX es_NI
es_PA es_PE es_PR es_PY es_SV es_US es_UY es_VE et_EE eu_ES eu_FR fi_FI fo_FO fr_BE fr_CA fr_CH fr_FR fr_LU ga_IE
gl_ES gv_GB id_ID is_IS it_CH it_IT kl_GL kw_GB ms_MY nb_NO nl_BE nl_NL nn_NO oc_FR om_KE pt_BR pt_PT so_DJ so_KE
so_SO sq_AL st_ZA sv_FI sv_SE tl_PH uz_UZ wa_BE xh_ZA zu_ZA
ISO-8859-10: lg_UG
ISO-8859-13: lt_LT lv_LV mi_NZ
ISO-8859-14: cy_GB
ISO-8859-15: an_ES ast_ES br_FR@euro ca_AD ca_ES@euro ca_FR ca_IT de_AT@euro de_BE@euro de_DE@euro de_LU@euro
en_DK.ISO-8859-15 en_GB.ISO-8859-15 en_IE@euro en_US.ISO-8859-15 es_ES@euro et_EE.ISO-8859-15 eu_ES@euro eu_FR@euro
fi_FI@euro fr_BE@euro fr_FR@euro fr_LU@euro ga_IE@euro gd_GB gl_ES@euro it_IT@euro mg_MG nl_BE@euro nl_NL@euro
pt_PT@euro sv_FI@euro sv_SE.ISO-8859-15 wa_BE@euro
ISO-8859-2: bs_BA cs_CZ hr_HR hsb_DE hu_HU pl_PL ro_RO sk_SK sl_SI
ISO-8859-3: mt_MT
ISO-8859-5: mk_MK ru_RU
ISO-8859-6: ar_AE ar_BH ar_DZ ar_EG ar_IQ ar_JO ar_KW ar_LB ar_LY ar_MA ar_OM ar_QA ar_SA ar_SD ar_SY ar_TN ar_YE
ISO-8859-7: el_GR el_GR@euro el_CY
ISO-8859-8: he_IL
ISO-8859-9: ku_TR tr_CY tr_TR
KOI8-R: ru_RU.KOI8-R
KOI8-T: tg_TJ
KOI8-U: ru_UA uk_UA
PT154: kk_KZ
RK1048: kk_KZ.RK1048
TIS-620: th_TH
"""
"""A word that ends in a colon is a character set; the locales in it follow."""


@cache
def charsets() -> dict[str, str]:
    """Every locale name with its character set, as the two columns of SUPPORTED say."""
    known, charset = dict.fromkeys(_UTF8.split(), "UTF-8"), ""
    for word in _OTHER.split():
        if word.endswith(":"):
            charset = word[:-1]
        else:
            known[word] = charset
    return known


def listed(name: str) -> str:
    """The name as `locale -a` lists it: the character set in lower case, letters and digits only (locale(1))."""
    place, dot, rest = name.partition(".")
    charset, at, variant = rest.partition("@")
    return place + dot + "".join(sign for sign in charset.lower() if sign.isalnum()) + at + variant
