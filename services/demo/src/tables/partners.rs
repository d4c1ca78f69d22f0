//! Who sells to the plant and who buys from it, all invented; the numbers are kept for fiction.
//! It never holds a real firm, place or telephone.

/// Name, telephone, address.
pub type Partner = (&'static str, &'static str, &'static str);

/// Who sells.
pub const SUPPLIERS: [Partner; 8] = [
    ("Hollow Road Meats", "555-0111", "4 Hollow Road, Marl"),
    ("Tarn Valley Pork", "555-0112", "88 Tarn Valley Lane, Ostrey"),
    ("Bracken Beef Packers", "555-0113", "12 Bracken Street, Marl"),
    ("Whitlow Turkey Growers", "555-0114", "Whitlow Cross, Ostrey"),
    ("Ferncastle Dairy", "555-0115", "1 Creamery Yard, Ferncastle"),
    ("Salt and Seed Trading", "555-0116", "30 Wharf Row, Lynmarsh"),
    ("Long Casing Company", "555-0117", "7 Tannery Lane, Lynmarsh"),
    ("Overleaf Packaging", "555-0118", "51 Mill Parade, Ferncastle"),
];

/// Who buys: twelve, in the order in which the week's trucks serve them.
pub const CUSTOMERS: [Partner; 12] = [
    ("Corner Larder", "555-0121", "3 Invented Street, Marl"),
    ("Mill Road Stores", "555-0122", "140 Mill Road, Marl"),
    ("Harbour Provisioners", "555-0123", "9 Quay Steps, Lynmarsh"),
    ("Ostrey Schools Kitchen", "555-0124", "2 College Green, Ostrey"),
    ("The Green Awning", "555-0125", "17 Market Place, Ferncastle"),
    ("Pelham and Daughters", "555-0126", "64 Station Road, Pelham"),
    ("Northgate Grocers", "555-0127", "5 Northgate, Ostrey"),
    ("Lakeside Inns", "555-0128", "Lakeside Drive, Tarn"),
    ("Union Hall Caterers", "555-0129", "21 Union Square, Marl"),
    ("Weir Street Deli", "555-0130", "8 Weir Street, Lynmarsh"),
    ("Quarry Men's Club", "555-0131", "Quarry Lane, Marl"),
    ("Fairfield Cash and Carry", "555-0132", "Unit 6, Fairfield"),
];
