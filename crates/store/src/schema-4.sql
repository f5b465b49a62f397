-- Objects made of a visit's pictures leave through the same queue; they are kept until their arrival is proven.
ALTER TABLE deliveries ADD COLUMN kind TEXT NOT NULL DEFAULT 'original' CHECK (kind IN ('original', 'derived'));
