// The rows of the labels that claims.h does not name.
#pragma once

#include "claims.h"

namespace platter::label {
extern const Format gpt_format;
extern const Format apm_format;
extern const Format lif_format;
extern const Format amiga_format;
extern const Format sysv68_format;
extern const Format ultrix_format;
extern const Format solaris_x86_format;
extern const Format svr4_format;
extern const Format minix_sub_format;
extern const Format plan9_format;
extern const Format atari_format;
}  // namespace platter::label

namespace platter::test {

/// The one claim of a format on the bytes; more or fewer fail the test.
inline Claim one_claim(const Format& format, const Bytes& bytes) {
  const auto claims = claims_of(format, bytes);
  REQUIRE(claims.size() == 1);
  return claims.front();
}

/// What a format says inside the first slice of the image's MBR.
inline std::vector<Claim> claims_in_mbr_slice(const Format& format, const Bytes& bytes) {
  const View view = memory_view(bytes);
  const auto records = claims_of(label::mbr_format, view);
  REQUIRE(records.size() == 1);
  REQUIRE_FALSE(records[0].slices.empty());
  return claims_inside(format, view, records[0].slices[0], "mbr");
}

inline Claim claim_in_mbr_slice(const Format& format, const Bytes& bytes) {
  const auto claims = claims_in_mbr_slice(format, bytes);
  REQUIRE(claims.size() == 1);
  return claims.front();
}

}  // namespace platter::test
