//! The code lists of ISO 3166-1 and ISO 4217, as far as GS1 checks them.
//! It never names a country or a currency: a code is in use or it is not.

/// ISO 3166-1: numeric code and two letters of each country, by rising number.
const COUNTRIES: &str = "\
    004AF 008AL 010AQ 012DZ 016AS 020AD 024AO 028AG 031AZ 032AR 036AU 040AT 044BS 048BH 050BD \
    051AM 052BB 056BE 060BM 064BT 068BO 070BA 072BW 074BV 076BR 084BZ 086IO 090SB 092VG 096BN \
    100BG 104MM 108BI 112BY 116KH 120CM 124CA 132CV 136KY 140CF 144LK 148TD 152CL 156CN 158TW \
    162CX 166CC 170CO 174KM 175YT 178CG 180CD 184CK 188CR 191HR 192CU 196CY 203CZ 204BJ 208DK \
    212DM 214DO 218EC 222SV 226GQ 231ET 232ER 233EE 234FO 238FK 239GS 242FJ 246FI 248AX 250FR \
    254GF 258PF 260TF 262DJ 266GA 268GE 270GM 275PS 276DE 288GH 292GI 296KI 300GR 304GL 308GD \
    312GP 316GU 320GT 324GN 328GY 332HT 334HM 336VA 340HN 344HK 348HU 352IS 356IN 360ID 364IR \
    368IQ 372IE 376IL 380IT 384CI 388JM 392JP 398KZ 400JO 404KE 408KP 410KR 414KW 417KG 418LA \
    422LB 426LS 428LV 430LR 434LY 438LI 440LT 442LU 446MO 450MG 454MW 458MY 462MV 466ML 470MT \
    474MQ 478MR 480MU 484MX 492MC 496MN 498MD 499ME 500MS 504MA 508MZ 512OM 516NA 520NR 524NP \
    528NL 531CW 533AW 534SX 535BQ 540NC 548VU 554NZ 558NI 562NE 566NG 570NU 574NF 578NO 580MP \
    581UM 583FM 584MH 585PW 586PK 591PA 598PG 600PY 604PE 608PH 612PN 616PL 620PT 624GW 626TL \
    630PR 634QA 638RE 642RO 643RU 646RW 652BL 654SH 659KN 660AI 662LC 663MF 666PM 670VC 674SM \
    678ST 682SA 686SN 688RS 690SC 694SL 702SG 703SK 704VN 705SI 706SO 710ZA 716ZW 724ES 728SS \
    729SD 732EH 740SR 744SJ 748SZ 752SE 756CH 760SY 762TJ 764TH 768TG 772TK 776TO 780TT 784AE \
    788TN 792TR 795TM 796TC 798TV 800UG 804UA 807MK 818EG 826GB 831GG 832JE 833IM 834TZ 840US \
    850VI 854BF 858UY 860UZ 862VE 876WF 882WS 887YE 894ZM \
";

/// ISO 4217: numeric codes of the currencies, rising.
const CURRENCIES: &str = "\
    008 012 032 036 044 048 050 051 052 060 064 068 072 084 090 096 104 108 116 124 132 136 144 \
    152 156 170 174 188 192 203 208 214 222 230 232 238 242 262 270 292 320 324 328 332 340 344 \
    348 352 356 360 364 368 376 388 392 396 398 400 404 408 410 414 417 418 422 426 430 434 446 \
    454 458 462 480 484 496 498 504 512 516 524 532 533 548 554 558 566 578 586 590 598 600 604 \
    608 634 643 646 654 682 690 702 704 706 710 728 748 752 756 760 764 776 780 784 788 800 807 \
    818 826 834 840 858 860 882 886 901 924 925 926 927 928 929 930 933 934 936 938 940 941 943 \
    944 946 947 948 949 950 951 952 953 955 956 957 958 959 960 961 962 963 964 965 967 968 969 \
    970 971 972 973 976 977 978 979 980 981 984 985 986 990 994 997 999 \
";

/// True for the numeric code of a country, three digits.
pub(super) fn is_country(number: &str) -> bool {
    number.len() == 3 && COUNTRIES.split_ascii_whitespace().any(|code| code.starts_with(number))
}

/// True for the two letters of a country.
pub(super) fn is_country_letters(letters: &str) -> bool {
    letters.len() == 2 && COUNTRIES.split_ascii_whitespace().any(|code| code.ends_with(letters))
}

/// True for the numeric code of a currency, three digits.
pub(super) fn is_currency(number: &str) -> bool {
    CURRENCIES.split_ascii_whitespace().any(|code| code == number)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_lists_are_whole() {
        // ISO 3166-1 has 249 countries; US is 840 (ISO 3166-1), the dollar too (ISO 4217).
        assert_eq!(COUNTRIES.split_ascii_whitespace().count(), 249);
        assert!(COUNTRIES.split_ascii_whitespace().all(|code| code.len() == 5));
        assert!(is_country("840") && is_country_letters("US") && is_currency("840"));
        assert!(!is_country("999") && !is_country_letters("XX") && !is_currency("000"));
        assert!(!is_country("") && !is_country_letters("") && !is_country("84"));
    }
}
